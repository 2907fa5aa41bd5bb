"""The core stays free of the libraries of the edge."""

import subprocess
import sys


def test_model_and_ledger_load_neither_pydantic_nor_tomlkit():
    code = (
        "import sys, dryfit.model.project, dryfit.model.material_table, dryfit.store.ledger\n"
        "print([name for name in ('pydantic', 'tomlkit') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"
