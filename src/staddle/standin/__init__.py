"""The stand-in: a small clustered service that behaves like an appliance (docs/standin-protocol.md).

Standard library only and nothing of Staddle, so that the folder can be copied into a tiny machine. Not here: anything
that drives it; that is the job of platforms/ and appliances/.
"""
