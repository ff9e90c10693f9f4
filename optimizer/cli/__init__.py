"""The ``layerwright`` command. Nothing in here is imported by the rest of the package."""
