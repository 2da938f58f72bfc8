"""The day at a glance: `today` gathers what runs, is due, planned or short, `next_thing` says what comes first, `weeks`
what lies about it. In: a session. Out: one day's view.
"""
