"""A pure file with all of mutmut's changes in it, of which one at a time is awake.

mutmut writes every function down once as it is and once for each change, and calls the one that is
chosen. So one process can try them all. The changed text is loaded in place of the file and written
nowhere.
"""

from collections.abc import Sequence
from difflib import ndiff
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from types import CodeType, ModuleType

from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.utils.format_utils import (
    mangled_name_from_mutant_name,
    orig_function_and_class_names_from_key,
)


class ChangedFile(SourceFileLoader):
    """A file, and the names of the changes in it, such as `ledger.money.x_split__mutmut_7`."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.module = module_of(file)
        super().__init__(self.module, file)
        self._made = mutate_file_contents(file, Path(file).read_text())
        self.changes = [f"{self.module}.{name}" for name in self._made.mutant_names]

    def get_code(self, fullname: str) -> CodeType:
        """Compiled anew: the cache has the file as it is, and must not get another."""
        return compile(self._made.code, self.path, "exec", dont_inherit=True)

    def told(self, change: str) -> list[str]:
        """The lines that are other, before and after."""
        name = change.removeprefix(f"{self.module}.")
        as_it_is = f"{mangled_name_from_mutant_name(name)}__mutmut_orig"
        before, after = (self._lines(each) for each in (as_it_is, name))
        return [line for line in ndiff(before, after) if line.startswith(("- ", "+ "))]

    def _lines(self, name: str) -> list[str]:
        span = self._made.line_span_by_function_name[name]
        lines = self._made.code.splitlines()[span.start - 1 : span.end]
        function, _ = orig_function_and_class_names_from_key(name)
        return [line.replace(f"def {name}(", f"def {function}(") for line in lines]


class ChangedFiles(MetaPathFinder):
    """Whoever imports one of these modules gets the changed one."""

    def __init__(self, files: Sequence[ChangedFile]) -> None:
        self._files = {file.module: file for file in files}

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name not in self._files:
            return None
        file = self._files[name]
        return spec_from_file_location(name, file.path, loader=file)


def module_of(file: str) -> str:
    """What a file is imported as."""
    return file.removesuffix(".py").replace("/", ".")
