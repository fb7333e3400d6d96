"""First step in a fresh clone: `python3 ui/start.py demo` or `python3 ui/start.py test`.

Needs nothing but Python 3.11 or newer. Works in the virtual environment it is run
from, or makes one in ``.venv``; gets the system library that OpenCV wants where it is
missing and may be installed; installs Sparehand; then starts the demo or runs the tests.
"""

import ctypes
import os
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent
EXTRAS = {"demo": "app", "test": "app,test"}
SYSTEM_LIBRARIES = {"libGL.so.1": "libgl1", "libglib-2.0.so.0": "libglib2.0-0"}


def say(sentence: str) -> None:
    """Write to stderr, so that what runs afterwards owns stdout."""
    sys.stderr.write(sentence + "\n")


def missing_system_packages() -> list[str]:
    """Return the Debian packages whose library cannot be loaded (Linux only)."""
    if not sys.platform.startswith("linux"):
        return []
    missing = []
    for library, package in SYSTEM_LIBRARIES.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return missing


def get_system_packages() -> None:
    """Install the missing system packages where that is allowed; else say what to type."""
    packages = missing_system_packages()
    if not packages:
        return
    as_root = [] if os.geteuid() == 0 else ["sudo", "-n"]
    wanted = f"apt-get install -y {' '.join(packages)}"
    if shutil.which("apt-get") is None or (as_root and shutil.which("sudo") is None):
        say(f"OpenCV needs the system packages {', '.join(packages)}: install them first.")
        return
    say(f"Getting what OpenCV needs from the system: {wanted}")
    for command in ("apt-get update", wanted):
        done = subprocess.run([*as_root, *command.split()], stdout=subprocess.DEVNULL, check=False)
        if done.returncode:
            say(f"That did not work; type it yourself: sudo {wanted}")
            return


def environment() -> Path:
    """Return the folder of programs of the environment to use, made if need be."""
    if sys.prefix != sys.base_prefix:
        return Path(sys.executable).parent
    folder = CHECKOUT / ".venv"
    if not folder.exists():
        say(f"Making a virtual environment in {folder}")
        venv.create(folder, with_pip=True)
    return folder / ("Scripts" if os.name == "nt" else "bin")


def install(programs: Path, extras: str) -> None:
    """Install the checkout, built as a wheel, with `extras`."""
    say("Installing Sparehand and what it needs (the first time takes a minute or two)")
    pip = [str(programs / "python"), "-m", "pip", "install", "--quiet"]
    subprocess.run([*pip, f"{CHECKOUT}[{extras}]"], check=True)
    same = [*pip, "--no-deps", "--force-reinstall", str(CHECKOUT)]
    subprocess.run(same, check=True)


def run_tests(programs: Path, arguments: list[str]) -> int:
    """Run the tests from another folder, so that the installed wheel is what is tested."""
    with tempfile.TemporaryDirectory() as elsewhere:
        command = [
            str(programs / "python"),
            "-P",
            "-m",
            "pytest",
            "-c",
            str(CHECKOUT / "pyproject.toml"),
            "--rootdir",
            str(CHECKOUT),
            "-n",
            "3",
            "--dist",
            "worksteal",
            str(CHECKOUT / "tests"),
            *arguments,
        ]
        one_thread = os.environ | {"OPENBLAS_NUM_THREADS": "1"}  # the workers share the cores
        return subprocess.run(command, cwd=elsewhere, env=one_thread, check=False).returncode


def run_demo(command: list[str]) -> int:
    """Become the demo, so that a signal for this process reaches it."""
    if os.name != "nt":
        os.execv(command[0], command)  # noqa: S606 - the program that was just installed
    try:
        return subprocess.call(command)
    except KeyboardInterrupt:
        return 0


def main() -> int:
    """Do the set-up, then the job."""
    job = sys.argv[1] if len(sys.argv) > 1 else ""
    if job not in EXTRAS:
        say("usage: python3 ui/start.py demo | test [what pytest takes]")
        return 2
    if sys.version_info < (3, 11):  # noqa: UP036 - an old Python gets a sentence
        say(f"Python {sys.version.split()[0]} is too old: Sparehand needs 3.11 or newer.")
        return 2
    get_system_packages()
    programs = environment()
    try:
        install(programs, EXTRAS[job])
    except subprocess.CalledProcessError:
        say("The installation failed; pip said why above. Try once more with a network.")
        return 1
    if job == "test":
        return run_tests(programs, sys.argv[2:])
    return run_demo([str(programs / "sparehand"), "demo", *sys.argv[2:]])


if __name__ == "__main__":
    sys.exit(main())
