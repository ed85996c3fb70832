"""Compiles the catalogues while the package is built, so that every install speaks Spanish."""

import runpy
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class CompileCatalogs(BuildHookInterface[Any]):
    """Hatchling's hook, run for wheels, source archives and editable installs alike."""

    def initialize(self, version: str, build_data: dict[str, object]) -> None:  # noqa: ARG002 - hatchling's signature
        """Compile the catalogues before the files of the package are gathered."""
        # Loaded by path: at build time the package itself is not importable.
        module = runpy.run_path(str(Path(self.root, "webapp", "translations", "__init__.py")))
        module["compile_catalogs"]()
