"""The day at a glance: `today` gathers what runs, is due, planned or short. In: a session. Out: one day's view."""
