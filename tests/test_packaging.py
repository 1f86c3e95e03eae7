"""The two commands, on machines of our making: the tools they call are stand-ins that say what they were told."""

import os
import re
import shutil
import subprocess
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SCRIPTS = ("packaging/run.sh", "packaging/test.sh", "packaging/bench.sh", ".ci/run")
TOOLS = ("bash", "cat", "cut", "dirname", "env", "grep", "mktemp", "rm", "sed", "sha256sum", "sort", "uname")
QT_FILES = (
    *(f"Qt{name}.abi3.so" for name in ("Core", "Gui", "Widgets", "Svg", "Test")),
    *(f"Qt/plugins/platforms/libq{name}.so" for name in ("offscreen", "xcb", "wayland")),
    *(f"Qt/plugins/imageformats/libq{name}.so" for name in ("jpeg", "svg")),
    "Qt/plugins/iconengines/libqsvgicon.so",
    "Qt/plugins/xcbglintegrations/libqxcb-egl-integration.so",
    "Qt/plugins/wayland-shell-integration/libxdg-shell.so",
    "Qt/plugins/wayland-graphics-integration-client/libqt-plugin-wayland-egl.so",
)


@dataclass
class Machine:
    """A clone of the repository on a machine whose PATH holds nothing but stand-ins and plain tools."""

    folder: Path
    name: str = "clone"

    @property
    def clone(self) -> Path:
        return self.folder / self.name

    @property
    def calls(self) -> list[str]:
        """What was asked of the stand-ins that keep a record."""
        log = self.folder / "calls"
        return log.read_text("utf-8").splitlines() if log.exists() else []

    def stand_in(self, name: str, body: str) -> None:
        path = self.folder / "bin" / name
        path.write_text(
            f"#!/bin/bash\nrecord() {{ echo \"$*\" >>'{self.folder}/calls'; }}\n{body}\n", "utf-8"
        )
        path.chmod(0o755)

    def run(self, script: str, *arguments: str, **environment: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [str(self.clone / script), *arguments],
            env={"PATH": str(self.folder / "bin"), "HOME": str(self.folder), **environment},
            capture_output=True,
            text=True,
            check=False,
            timeout=30,
        )


VENV_PYTHON = """
case "$*" in
    "-m pip"*) record "$@" ;;
    --version) echo Python 3.12.1 ;;
esac
"""
SYSTEM_PYTHON = f"""
case "$*" in
    "-m venv "*)
        mkdir -p "$3/bin" "$3/lib/python3.12/site-packages/PySide6"
        echo "command = /usr/bin/python3 -m venv $3" >"$3/pyvenv.cfg"
        cp "$0.venv" "$3/bin/python"
        cd "$3/lib/python3.12/site-packages/PySide6"
        for file in {" ".join(QT_FILES)}; do mkdir -p "$(dirname "$file")"; touch "$file"; done
        printf '#!/bin/bash\\necho "$0" "$@"\\n' | sed "s#\\$0#${{3##*/}}#" >"$3/bin/tbmreview"
        chmod +x "$3"/bin/*
        ;;
    *ensurepip*) [ ! -e "$0.without-venv" ] ;;
    *print*) echo 3.12 ;;
esac
"""


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """Has Python, lacks nothing that Qt needs, and may not install."""
    machine = Machine(tmp_path)
    (tmp_path / "bin").mkdir()
    for name in (*TOOLS, "mkdir", "cp", "touch", "chmod"):
        (tmp_path / "bin" / name).symlink_to(str(shutil.which(name)))
    shutil.copytree(ROOT / "packaging", machine.clone / "packaging")
    shutil.copy(ROOT / "pyproject.toml", machine.clone)
    machine.stand_in("python3", SYSTEM_PYTHON)
    machine.stand_in("python3.venv", VENV_PYTHON)
    machine.stand_in("id", "echo 1000")
    machine.stand_in("sudo", "exit 1")
    machine.stand_in("apt-get", 'record apt-get "$@"')
    machine.stand_in("dpkg-query", "exit 1")
    machine.stand_in("ldd", 'echo "    libm.so.6 => /lib/libm.so.6 (0x0)"')
    return machine


def lack(machine: Machine, soname: str, plugin: str = "QtGui") -> None:
    """What `plugin` needs is not on the machine until apt-get has installed something."""
    machine.stand_in(
        "ldd",
        f"""case "$1" in *{plugin}*) ;; *) exit 0 ;; esac
        grep -qs 'apt-get install' '{machine.folder}/calls' || echo "    {soname} => not found" """,
    )


def told(done: "subprocess.CompletedProcess[str]") -> str:
    """The last line that a script said on its error stream."""
    return done.stderr.splitlines()[-1] if done.stderr else ""


@pytest.mark.parametrize("script", SCRIPTS)
def test_scripts_can_be_run_and_parsed(script: str) -> None:
    assert os.access(ROOT / script, os.X_OK)
    subprocess.run(["bash", "-n", str(ROOT / script)], check=True)


def test_without_a_display_the_demo_runs_without_a_window_and_says_so(machine: Machine) -> None:
    done = machine.run("packaging/run.sh", "larkfell")
    assert (done.returncode, done.stdout) == (0, ".venv demo larkfell --no-window\n"), done.stderr
    assert "no display" in told(done)


@pytest.mark.parametrize("display", ["DISPLAY", "WAYLAND_DISPLAY"])
def test_with_a_display_the_demo_opens_its_window(machine: Machine, display: str) -> None:
    done = machine.run("packaging/run.sh", "a folder", **{display: ":0"})
    assert (done.returncode, done.stdout) == (0, ".venv demo a folder\n"), done.stderr


def test_the_second_run_installs_nothing_and_a_changed_pin_does(machine: Machine) -> None:
    machine.run("packaging/run.sh")
    first = machine.calls
    assert any("pip install" in call and "constraints.txt" in call for call in first)
    again = machine.run("packaging/run.sh")
    assert again.returncode == 0
    assert machine.calls == first
    with (machine.clone / "packaging" / "constraints.txt").open("a") as file:
        file.write("one-more==1.0\n")
    machine.run("packaging/run.sh")
    assert len(machine.calls) == 2 * len(first)


def test_an_environment_that_was_moved_is_made_anew(machine: Machine) -> None:
    machine.run("packaging/run.sh")
    machine.clone.rename(machine.folder / "old")
    shutil.copytree(machine.folder / "old", machine.clone)
    assert "making .venv" not in machine.run("packaging/run.sh").stderr
    shutil.copytree(machine.clone, machine.folder / "moved")
    done = Machine(machine.folder, "moved").run("packaging/run.sh")
    assert done.returncode == 0, done.stderr
    assert "making .venv" in done.stderr


def test_an_install_that_failed_is_tried_again_even_with_the_old_pins_back(machine: Machine) -> None:
    machine.run("packaging/run.sh")
    python, pins = machine.clone / ".venv" / "bin" / "python", machine.clone / "packaging" / "constraints.txt"
    sound, old_pins = python.read_text("utf-8"), pins.read_text("utf-8")
    python.write_text(sound.replace('record "$@"', "exit 1"), "utf-8")
    pins.write_text(old_pins + "one-more==1.0\n", "utf-8")
    assert machine.run("packaging/run.sh").returncode == 1
    python.write_text(sound, "utf-8")
    pins.write_text(old_pins, "utf-8")
    before = machine.calls
    assert machine.run("packaging/run.sh").returncode == 0
    assert len(machine.calls) == 2 * len(before)


def test_missing_libraries_are_named_where_nothing_may_be_installed(machine: Machine) -> None:
    lack(machine, "libglib-2.0.so.0")
    done = machine.run("packaging/run.sh")
    assert done.returncode == 1
    assert done.stdout == ""
    assert told(done).endswith("type: sudo apt-get install libglib2.0-0")
    assert "installing libglib" not in done.stderr
    machine.stand_in("dpkg-query", "echo libssl3t64")
    assert told(machine.run("packaging/run.sh")).endswith("type: sudo apt-get install libglib2.0-0t64")
    assert not [call for call in machine.calls if call.startswith("apt-get")]


def test_root_installs_missing_libraries_and_goes_on(machine: Machine) -> None:
    lack(machine, "libEGL.so.1")
    machine.stand_in("id", "echo 0")
    done = machine.run("packaging/run.sh")
    assert done.returncode == 0, done.stderr
    asked = [call for call in machine.calls if call.startswith("apt-get")]
    assert asked == ["apt-get update", "apt-get install --yes --no-install-recommends libegl1"]


def test_sudo_without_a_password_installs_too(machine: Machine) -> None:
    lack(machine, "libEGL.so.1")
    machine.stand_in("sudo", '[ "$1" = -n ] && shift && AS_ROOT=yes exec "$@"')
    machine.stand_in("true", "exit 0")
    machine.stand_in("apt-get", '[ -n "$AS_ROOT" ] && record apt-get "$@"')
    assert machine.run("packaging/run.sh").returncode == 0
    assert "apt-get install --yes --no-install-recommends libegl1" in machine.calls


def test_what_only_a_window_needs_is_asked_for_only_with_a_display(machine: Machine) -> None:
    lack(machine, "libxcb-cursor.so.0", plugin="platforms/libqxcb")
    assert machine.run("packaging/run.sh").returncode == 0
    done = machine.run("packaging/run.sh", DISPLAY=":0")
    assert (done.returncode, done.stdout) == (1, "")
    assert told(done).endswith("type: sudo apt-get install libxcb-cursor0")


def test_a_library_that_installing_did_not_bring_is_an_error(machine: Machine) -> None:
    machine.stand_in("ldd", 'echo "    libEGL.so.1 => not found"')
    machine.stand_in("id", "echo 0")
    done = machine.run("packaging/run.sh")
    assert (done.returncode, done.stdout) == (1, "")
    assert "still lacks libEGL.so.1" in told(done)


def test_a_failed_installation_shows_why_and_what_to_type(machine: Machine) -> None:
    lack(machine, "libEGL.so.1")
    machine.stand_in("id", "echo 0")
    machine.stand_in("apt-get", "echo E: no network >&2; exit 100")
    done = machine.run("packaging/run.sh")
    assert done.returncode == 1
    assert "E: no network" in done.stderr
    assert told(done).endswith("type: sudo apt-get install libegl1")


def test_a_library_of_no_known_package_is_named(machine: Machine) -> None:
    lack(machine, "libnever-heard-of.so.7")
    done = machine.run("packaging/run.sh")
    assert done.returncode == 1
    assert "Qt needs libnever-heard-of.so.7" in told(done)


def test_a_python_without_its_venv_package(machine: Machine) -> None:
    machine.stand_in("python3.without-venv", "")
    done = machine.run("packaging/run.sh")
    assert done.returncode == 1
    assert told(done).endswith("type: sudo apt-get install python3.12-venv")


def test_no_python_that_is_new_enough(machine: Machine) -> None:
    for name in ("python3", "python3.14", "python3.13", "python3.12", "python3.11"):
        machine.stand_in(name, "exit 1")
    done = machine.run("packaging/run.sh")
    assert done.returncode == 1
    assert "needs Python 3.11 or newer" in told(done)


def test_a_newer_python_is_found_beside_an_old_one(machine: Machine) -> None:
    (machine.folder / "bin" / "python3").rename(machine.folder / "bin" / "python3.12")
    (machine.folder / "bin" / "python3.venv").rename(machine.folder / "bin" / "python3.12.venv")
    machine.stand_in("python3", "exit 1")
    assert machine.run("packaging/run.sh").returncode == 0


def test_an_unknown_word_is_wrong_usage(machine: Machine) -> None:
    done = machine.run("packaging/test.sh", "corr")
    assert done.returncode == 2
    assert "usage" in told(done)


def test_the_core_is_tested_whole() -> None:
    script = (ROOT / "packaging" / "test.sh").read_text("utf-8")
    tested = re.findall(r"tests/\{([a-z,]+)\}", script)
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    without_qt = next(one["source_modules"] for one in contracts if one["name"] == "no Qt below paint")
    assert sorted(tested[0].split(",")) == sorted(name.removeprefix("tbmreview.") for name in without_qt)


def test_the_checks_need_pdftotext_and_say_so(machine: Machine) -> None:
    done = machine.run("packaging/test.sh")
    assert done.returncode == 1
    assert told(done).endswith("type: sudo apt-get install poppler-utils")
