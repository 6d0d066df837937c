"""Readings from a controller over Modbus TCP: what its registers mean, and asking it."""
