"""A picture of the window, made by the program itself.

QT_QPA_PLATFORM=offscreen python -m tbmreview.viewer.grab DRIVE OUT.png [WIDTH HEIGHT [FINDING]]
"""

import sys
from pathlib import Path

from tbmreview.drive.opened import open_drive
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.app import application
from tbmreview.viewer.window import MainWindow


def grab(source: DriveSource, out: Path, size: tuple[int, int] = (1600, 950), finding: str = "") -> Path:
    """Write the window on a drive as PNG, the finding of this id selected ('' for the whole drive).

    OSError when it cannot be written.
    """
    application()
    window = MainWindow(source)
    try:
        window.resize(*size)
        window.show()
        if finding:
            window.side.findings.select(finding)
        window.picture.draw()
        window.point_at_middle()
        if not window.grab().save(str(out), "PNG"):
            raise OSError(f"{out}: cannot be written")
    finally:
        window.close()
        window.deleteLater()
    return out


def main(arguments: list[str]) -> int:
    """The command above."""
    folder, out = Path(arguments[0]), Path(arguments[1])
    size = (int(arguments[2]), int(arguments[3])) if len(arguments) > 3 else (1600, 950)
    print(grab(DriveSource(open_drive(folder)), out, size, arguments[4] if len(arguments) > 4 else ""))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
