"""Staddle: stands a clustered appliance on virtualisation hosts, and shows that it stands."""

__version__ = "0.1.0"
__all__ = ["__version__"]
