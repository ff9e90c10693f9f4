"""Write the problems beside every broken project file anew; read the difference before keeping it.

python tests/project/rewrite_expected.py
"""

from __future__ import annotations

from pathlib import Path

from optimizer.errors import InputError
from optimizer.project import load_project

BAD = Path(__file__).parent.parent / "data" / "projects" / "bad"


def main() -> None:
    for path in sorted(BAD.glob("*.yaml")):
        try:
            load_project(path)
        except InputError as error:
            path.with_suffix(".txt").write_text(str(error).replace(f"{BAD}/", "") + "\n", "utf-8")
        else:
            print(f"{path.name} loads without a problem")


if __name__ == "__main__":
    main()
