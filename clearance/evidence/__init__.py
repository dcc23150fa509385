"""What an event leaves to be seen and measured without cutting.

In: the predicted part, routes. Out: powder, joints, pins and balls, dimensions.
"""
