"""Who may ask: `middleware`, the gate each request passes; `door` for this computer's own browsers and scripts, `lan`
and `pairing` for devices of the own network, `authority` and `doorway` for what encrypts it.

In: a request. Out: its `state.device`, a paired device's name, "" for a browser or script of this computer that was let
in; or the page that tells how to be.
"""
