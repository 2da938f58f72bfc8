"""How a trigger that stops an act is written."""


def stop(name: str, moment: str, condition: str, message: str) -> tuple[str, str]:
    """A trigger that stops an act before it is done, with the sentence that says why: its name and its SQL."""
    sql = f"CREATE TRIGGER {name} {moment} WHEN {condition} BEGIN SELECT RAISE(ABORT, '{message}'); END"
    return name, sql
