"""Makes the pictures of the README from real output.

    python docs/pictures.py

Plans the build that ``nestkit new`` writes, and the storm lantern; takes pictures of their reports in
Chromium. Needs chromium and chromedriver on the path, selenium and pillow.
"""

from __future__ import annotations

import base64
import io
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from selenium import webdriver

HERE = Path(__file__).parent
LANTERN = HERE.parent / "samples" / "lantern" / "build.toml"
#: Colours of a picture: few, so that the files stay small.
COLOURS = 200

HALFWAY = """
const sheet = document.querySelector(arguments[0]);
const range = sheet.querySelector('input[type=range]');
range.value = Math.round(range.max * 0.62); range.dispatchEvent(new Event('input'));
"""
BOX = """
const [first, last, down] = arguments;
const [a, b] = [first, last].map(which => document.querySelector(which).getBoundingClientRect());
return [scrollX, a.top + scrollY, document.documentElement.clientWidth, (down ? b.bottom : b.top) - a.top];
"""


def run(*arguments: object) -> None:
    """Runs nestkit."""
    subprocess.run(
        [sys.executable, "-m", "nestkit", *map(str, arguments)], check=True, stdout=subprocess.DEVNULL
    )


class Camera:
    """A browser that takes pictures of a page."""

    def __init__(self) -> None:
        options = webdriver.ChromeOptions()
        options.binary_location = shutil.which("chromium") or ""
        for flag in ("headless=new", "no-sandbox", "disable-gpu", "disable-dev-shm-usage", "hide-scrollbars"):
            options.add_argument(f"--{flag}")
        self.chrome = webdriver.Chrome(
            options=options, service=webdriver.ChromeService(shutil.which("chromedriver"))
        )

    def open(self, page: Path, width: int, height: int) -> None:
        """Opens a page in a window of this size."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 800}
        self.chrome.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        self.chrome.get(page.as_uri())

    def halfway(self, sheet: str) -> None:
        """Sets a sheet's slider to the middle of the cut."""
        self.chrome.execute_script(HALFWAY, sheet)

    def take(self, name: str, first: str, last: str, *, until_end: bool = True, most: float = 2000.0) -> None:
        """A picture from the top of one element to the bottom (or the top) of another."""
        x, y, width, height = self.chrome.execute_script(BOX, first, last, until_end)
        clip = {"x": x, "y": y - 8, "width": width, "height": min(height + 16, most), "scale": 1}
        sent: Any = self.chrome.execute_cdp_cmd(
            "Page.captureScreenshot", {"captureBeyondViewport": True, "clip": clip}
        )
        picture = Image.open(io.BytesIO(base64.b64decode(sent["data"]))).convert("RGB")
        picture = picture.quantize(COLOURS, kmeans=2, dither=Image.Dither.NONE)
        picture.save(HERE / name, optimize=True)
        print(f"{name}: {picture.width} x {picture.height}, {(HERE / name).stat().st_size // 1000} kB")


def main() -> None:
    """Makes all pictures."""
    with tempfile.TemporaryDirectory() as folder:
        start, out, lantern = (Path(folder) / name for name in ("lantern", "out", "storm"))
        run("new", start)
        run("plan", start / "build.toml", "--rounds", 20, "--out", out)
        run("plan", LANTERN, "--rounds", 40, "--out", lantern)
        camera = Camera()
        try:
            camera.open(out / "report.html", 1100, 800)
            camera.take("start-front.png", ".top", "#cautions", until_end=False)
            camera.halfway("#sheet-1")
            camera.take("start-sheet.png", "#sheet-1", "#sheet-1 .player")
            camera.open(lantern / "report.html", 1100, 800)
            camera.halfway("#sheet-1")
            camera.take("lantern-sheet.png", "#sheet-1", "#sheet-1 .player")
            roof = "#guide .assembly:last-of-type"
            camera.take("lantern-gluing.png", roof, roof)
            camera.open(lantern / "report.html", 390, 844)
            camera.halfway("#sheet-2")
            camera.take("phone.png", "#sheet-2", "#sheet-2 .list-head", most=844.0)
        finally:
            camera.chrome.quit()


if __name__ == "__main__":
    main()
