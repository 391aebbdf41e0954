"""What importing costs, and that the import contracts cover every module."""

import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_the_core_brings_no_loop_and_no_screen() -> None:
    """Importing the whole core loads neither asyncio nor textual, nor any library of the links."""
    code = "import sys, monitor.core.engine; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603 -- ours
    unwanted = {"asyncio", "textual", "serial", "websockets", "pydantic", "msgspec"}

    assert unwanted & set(done.stdout.split()) == set()


def test_the_core_contract_names_every_connector() -> None:
    """The core may import `connectors.telemetry` alone: the contract forbids all the others by name."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    (contract,) = (contract for contract in contracts if contract["name"].startswith("The core knows only"))
    modules = {f"connectors.{path.stem}" for path in (ROOT / "connectors").glob("*.py")}

    assert set(contract["forbidden_modules"]) == modules - {"connectors.telemetry", "connectors.__init__"}
