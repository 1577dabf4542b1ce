"""What the checks share: how to ask Tintfall, and what a check's result is."""

import json
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Check:
    """One comparison: the greatest deviation seen, and how much is allowed."""

    what: str
    source: str
    worst: float
    allowed: float
    count: int

    @property
    def holds(self) -> bool:
        return self.count > 0 and self.worst <= self.allowed


@dataclass
class Tools:
    """Runs Tintfall's programs, built once in the test profile."""

    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="outside-")))

    def build(self) -> None:
        # As the tests build them: another choice of packages would build half of the libraries
        # anew, with other features.
        subprocess.run(["cargo", "test", "--quiet", "--workspace", "--no-run"], cwd=ROOT, check=True)

    @property
    def built(self) -> Path:
        metadata = subprocess.run(
            ["cargo", "metadata", "--no-deps", "--format-version", "1"],
            cwd=ROOT, check=True, capture_output=True, text=True,
        )
        return Path(json.loads(metadata.stdout)["target_directory"]) / "debug"

    def tintfall(self, *words) -> dict:
        """Runs the command with --json and returns what it prints."""
        command = [self.built / "tintfall", *map(str, words), "--json"]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        return json.loads(done.stdout)

    def demos(self) -> Path:
        """The demonstration folder, written once."""
        folder = self.folder / "demo"
        if not folder.exists():
            command = [self.built / "tintfall", "demo", "--out", folder]
            subprocess.run(command, check=True, capture_output=True)
        return folder

    def colours(self, questions: list[dict]) -> list[dict]:
        """Asks the colour engine many questions, one JSON line each."""
        lines = "\n".join(json.dumps(question) for question in questions)
        done = subprocess.run(
            [self.built / "examples" / "colour_probe"],
            input=lines, check=True, capture_output=True, text=True,
        )
        return [json.loads(line) for line in done.stdout.splitlines()]
