"""Settings, people, devices, drafts, copies, changes, search and help.

`crud_pages` is the shape that plain lists share, `chain_part` the picture of what a thing came from and became, for
the pages of other rooms.
"""
