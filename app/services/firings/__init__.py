"""Static tests and flights as they happened.

`firings` (the log), `findings` after failures, `media`; `logger_files` as they came (open: `opened_files`, large:
`large_files`), of a stand (`curves`; how its files are read: `stands`) and of an altimeter (`altimeters`), whose text
`samples`, `reading` and `tracking` take figures from, in words by `record_words` and as sure as `certainty` says; what
a file leaves open is asked by `questions`, with the `alternatives` made of `raw_burns`; `doubts` tells what cannot be;
`firing_fits` made of them and kept, and `heights`, what flights were expected to reach; `outcome` says in two sentences
what came of a firing; `like_motors` (what motors of one kind did), `compare` (two beside each other). In: forms and
files. Out: measured figures beside the predicted, and fits that `learning` reads.
"""
