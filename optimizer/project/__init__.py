"""The project file: YAML in, a checked case and design options out."""

from optimizer.project.load import Project, load_project

__all__ = ["Project", "load_project"]
