"""Installed profiles: data only."""
