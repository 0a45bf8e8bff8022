"""Start the installed demo, look at what it serves and mails, and stop it.

Fails where it is not up in time, or where page or mail do not say that they show a sample.
"""

import json
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

UP_WITHIN_S = 20.0
PORT = 8479
BASE = f"http://127.0.0.1:{PORT}"


def get(path: str) -> str:
    with urllib.request.urlopen(BASE + path, timeout=5) as answer:
        return answer.read().decode()


def up() -> bool:
    try:
        get("/api/v1/health")
    except (urllib.error.URLError, OSError):
        return False
    return True


data = Path(tempfile.mkdtemp())
started = time.monotonic()
service = subprocess.Popen([sys.argv[1], "demo", "--port", str(PORT), "--data", str(data)])
try:
    while not up():
        assert service.poll() is None, f"the demo ended with code {service.returncode}"
        assert time.monotonic() - started < UP_WITHIN_S, f"not up within {UP_WITHIN_S} s"
        time.sleep(0.1)
    print(f"up after {time.monotonic() - started:.1f} s")
    grounds = json.loads(get("/api/v1/grounds"))
    ground = grounds["items"][0]["id"]
    assert "invented" in get(f"/grounds/{ground}").lower(), "the page does not say that it shows sample weather"
    mails = list((data / "mail").glob("*.eml"))
    for _ in range(50):
        if mails:
            break
        time.sleep(0.1)
        mails = list((data / "mail").glob("*.eml"))
    assert mails, "no mail was written"
    assert "sample weather" in mails[0].read_text().lower(), "the mail does not say that it shows sample weather"
    print(f"{ground}: pages, API and {len(mails)} mails, all marked as sample")
finally:
    service.terminate()
    code = service.wait(timeout=20)
assert code == 0, f"the demo stopped with code {code}"
