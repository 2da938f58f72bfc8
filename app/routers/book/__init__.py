"""Settings, people, devices, drafts, copies, changes and help; `crud_pages` is the shape that plain lists share."""
