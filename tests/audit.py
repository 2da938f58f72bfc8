"""Known faults of what the lock files install; `python -m tests.audit` asks a public list of advisories.

Exit code 0: asked about everything, nothing known; 1: something is known; 2: not asked about, or not about all.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
LOCK = ROOT / ".ci" / "dev.lock"
"""It holds what runs as well."""


def main() -> int:
    """Ask, say what came, and give the exit code."""
    command = [sys.executable, "-m", "pip_audit", "-r", str(LOCK), "--require-hashes", "--disable-pip"]
    answer = subprocess.run([*command, "--progress-spinner", "off", "-f", "json"], capture_output=True, text=True)
    words, code = verdict(answer.stdout)
    print(words)
    return code


def verdict(answer: str) -> tuple[str, int]:
    """What the answer of pip-audit (its JSON) means, in words, and the exit code."""
    try:
        found: list[dict[str, Any]] = json.loads(answer)["dependencies"]
    except (ValueError, KeyError):
        return "No list of advisories could be reached: nothing was audited.", 2
    known = [(one, fault) for one in found for fault in one.get("vulns", [])]
    unasked = [one["name"] for one in found if "skip_reason" in one]
    if known:
        lines = [
            f"{one['name']} {one['version']}: {fault['id']}, mended in {fault['fix_versions']}" for one, fault in known
        ]
        return "\n".join(lines), 1
    if len(unasked) == len(found):
        return "No list of advisories could be reached: nothing was audited.", 2
    if unasked:
        return f"Nothing is known of {len(found) - len(unasked)}; not asked about: {', '.join(unasked)}.", 2
    return f"Nothing is known against any of {len(found)} packages.", 0


if __name__ == "__main__":
    sys.exit(main())
