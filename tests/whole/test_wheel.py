"""What is installed is whole: a board is tested from a built wheel, outside the checkout."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent


def test_a_board_is_tested_from_a_built_wheel(tmp_path):
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(tmp_path), str(ROOT)]
    subprocess.run(build, check=True, capture_output=True, timeout=120)
    (wheel,) = tmp_path.glob("railbench-*.whl")
    zipfile.ZipFile(wheel).extractall(tmp_path / "site")
    words = ["run", "dual15/quick", "--serial", "D15-1", "--simulated", "--store", "r.sqlite"]
    script = f"import station.cli as c, sys; print(c.__file__, file=sys.stderr); c.main({words})"

    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path / "site")},
        capture_output=True,
        text=True,
        timeout=120,
    )

    assert done.returncode == 0, done.stderr
    assert done.stderr.startswith(str(tmp_path / "site"))
    assert done.stdout.startswith("SIMULATED D15-1  Passed")
