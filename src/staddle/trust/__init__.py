"""Fingerprints, certificates, secrets' values, the strongbox. Pure but for the strongbox's files.

Import the module that is meant: nothing is drawn together here, so that a room that only needs a fingerprint
does not load the certificate library.
"""
