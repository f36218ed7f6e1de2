"""Looking at a running machine over the network: TCP, TLS, pinned HTTPS, clock offset. The only network I/O of ours.

Import the module that is meant. Every probe has a deadline in seconds; what can be expected of a network is a
returned value, and only PinnedHttps raises, because there the caller must know whether a request took effect.
"""
