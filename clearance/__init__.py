"""Internal-channel clearance of powder-bed-fusion parts that carry stray layers."""

__version__ = "0.1.0"
