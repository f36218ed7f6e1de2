"""One file a section of the dossier; contents.py sets them in order."""
