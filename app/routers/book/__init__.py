"""Settings, people, devices, drafts, copies, changes and help; the shared shape of the workshop's list pages."""
