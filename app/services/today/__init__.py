"""The day at a glance, and where a book begins: `today` gathers what runs, is due, planned or short, `next_thing` says
what comes first, `weeks` what lies about it, `of_season` how the season stands, `first_start` takes the answers to its
six questions in, `lacking` tells what a plan, a cast, a motor or a firing still lacks. In: a session. Out: one day's
view, sentences with their links.
"""
