"""Make the README's picture from a run of the demo: `python -m tests.pictures`."""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

PICTURE = Path(__file__).parent.parent / ".docs" / "demo.svg"
WIDTH = 118
FORMAT = """<svg class="rich-terminal" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg">
<style>
    .{unique_id}-matrix {{ font-family: ui-monospace, Menlo, Consolas, "DejaVu Sans Mono", monospace;
        font-size: {char_height}px; line-height: {line_height}px; }}
    {styles}
</style>
<defs><clipPath id="{unique_id}-clip-terminal">
    <rect x="0" y="0" width="{terminal_width}" height="{terminal_height}" /></clipPath>{lines}</defs>
<rect fill="#1a1b20" width="{width}" height="{height}" rx="6"/>
<g transform="translate({terminal_x}, {terminal_y})" clip-path="url(#{unique_id}-clip-terminal)">
    {backgrounds}
    <g class="{unique_id}-matrix">{matrix}</g>
</g></svg>
"""


def main() -> None:
    """Run the demo and draw its first lines, its odd lines and its summary."""
    from rich.console import Console
    from rich.text import Text

    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "demo"
        done = subprocess.run(
            [sys.executable, "-m", "station.cli", "demo", "--home", str(home)],
            capture_output=True,
            text=True,
            check=True,
            env={"COLUMNS": str(WIDTH), "PATH": "/usr/bin:/bin"},
        )
        live, lot = done.stderr.splitlines(), done.stdout.replace(str(home), "demo")
    console = Console(record=True, width=WIDTH, file=open("/dev/null", "w"), highlight=False)  # noqa: SIM115
    for line in [*_chosen(live), "", *lot.splitlines()[:22]]:
        text = Text(line[:WIDTH], no_wrap=True)
        text.highlight_regex(r"\+ pass\s+", "bold green")
        text.highlight_regex(r"x fail\s+", "bold red")
        text.highlight_regex(r"\? not measured\s+|refused", "bold yellow")
        console.print(text)
    PICTURE.parent.mkdir(exist_ok=True)
    svg = console.export_svg(title="", code_format=FORMAT, unique_id="demo")
    PICTURE.write_text(re.sub(r"[ \t]+\n", "\n", svg), encoding="utf-8")


def _chosen(live: list[str]) -> list[str]:
    odd = [line for line in live if "  + pass" not in line][1:]
    return [*live[:6], "  ...", *odd[:9]]


if __name__ == "__main__":
    main()
