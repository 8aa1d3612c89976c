"""What an installation with a public address rests on: Django's deployment check, and files for browsers by name."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PUBLIC = {
    "PUBLIC_URL": "https://portal.example.org",
    "SECRET_KEY": "kY3_long-and-mixed-0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEF",
}


def _python(folder: Path, *args: str, **environment: str) -> subprocess.CompletedProcess[str]:
    told = {"PUBLIC_URL", "SECRET_KEY", "DATABASE_URL", "REDIS_URL", "ALLOWED_HOSTS", "DEBUG", "DJANGO_SETTINGS_MODULE"}
    kept = {k: v for k, v in os.environ.items() if k not in told}
    own = {"DATABASE_URL": f"sqlite:///{folder / 'db.sqlite3'}"} | environment
    return subprocess.run(
        [sys.executable, *args], cwd=ROOT, env=kept | own, capture_output=True, text=True, check=False
    )


def test_deployment_check_is_clean(tmp_path: Path) -> None:
    done = _python(tmp_path, "manage.py", "check", "--deploy", "--fail-level", "WARNING", **PUBLIC)
    assert done.returncode == 0, done.stderr


def test_no_start_without_a_secret(tmp_path: Path) -> None:
    done = _python(tmp_path, "manage.py", "check", PUBLIC_URL=PUBLIC["PUBLIC_URL"])
    assert done.returncode != 0
    assert "SECRET_KEY" in done.stderr


def test_every_file_that_a_style_sheet_names_is_there(tmp_path: Path) -> None:
    """collectstatic gives each file a name with a fingerprint, and fails where one names a file that is missing."""
    code = (
        "import django; django.setup()\n"
        "from django.conf import settings; from django.core.management import call_command\n"
        f"settings.STATIC_ROOT = {str(tmp_path / 'static')!r}\n"
        "call_command('collectstatic', interactive=False, verbosity=0)\n"
    )
    done = _python(tmp_path, "-c", code, DJANGO_SETTINGS_MODULE="fleet.settings", **PUBLIC)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "static" / "staticfiles.json").exists()


def test_templates_name_only_files_that_are_there() -> None:
    missing = [
        f"{page.relative_to(ROOT)}: {name}"
        for page in (ROOT / "templates").rglob("*.html")
        for name in re.findall(r"""\{%\s*static\s+['"]([^'"]+)['"]""", page.read_text())
        if name.startswith("fleet/") and not (ROOT / "fleet" / "static" / name).exists()
    ]
    assert not missing, "\n".join(missing)


def test_image_holds_what_the_portal_needs() -> None:
    """The image copies rooms by name; a room that the code imports and the image forgets would fail at its start."""
    image = (ROOT / "Dockerfile").read_text()
    kept = (ROOT / ".dockerignore").read_text()
    for room in ("fleet", "shop", "templates", "manage.py", "requirements.txt"):
        assert re.search(rf"^COPY .*\b{re.escape(room)}\b", image, re.M), room
        assert f"!{room}\n" in kept, room
    assert "USER portal" in image
