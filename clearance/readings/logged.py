"""The machine's log: how many layers of a part it counts after an event.

In: a prepared case, its predicted part, a reading. Out: a `Prediction`.
"""

from __future__ import annotations

import math

from clearance.case.readings import ReadingTable
from clearance.predicted.part import Predicted
from clearance.readings.prediction import Prediction, right_or_wrong
from clearance.verdict.prepared import Checked


def layers_logged(checked: Checked, predicted: Predicted, reading: ReadingTable) -> Prediction:
    """Layers of this part: what the nominal part has, and by how many it has grown."""
    layer = checked.case.part.layer_thickness
    height = float(checked.bodies.bounds[1, 2]) - checked.platform_z
    layers = math.floor(height / layer - 0.5 + 1e-9) + 1
    layers += round(sum(event.rise for event in predicted.events) / layer)
    assert reading.value is not None
    agrees = round(float(reading.value)) == layers
    return right_or_wrong(agrees, reading.wrong, float(layers), float(layers))
