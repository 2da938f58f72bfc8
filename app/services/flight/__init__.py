"""What a rocket does with a motor.

`flights` estimates a flight with its range, `flight_answer` says it in a sentence, `flight_cautions` what
to look at before it, `grain_count_study` heights by number of grains. In: a prediction's record, rocket, field and
weather. Out: estimates; nothing is stored.
"""
