"""Who may ask: `middleware`, the gate each request passes, `lan` and `pairing` for devices of the own network.

In: a request. Out: its `state.device`, a paired device's name, "" for this machine; or the page that pairs one.
"""
