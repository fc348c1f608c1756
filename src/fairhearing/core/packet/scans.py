"""A scan that is attached as it is: PDF pages become pictures, pictures stay what they are.

A PDF inside an accessible PDF is not allowed (PDF/UA-1), a picture with a description is.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import typst

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.opening import file_bytes

MAX_PAGES = 12
SCAN_PPI = 200
_PICTURES = {".png": b"\x89PNG", ".jpg": b"\xff\xd8", ".jpeg": b"\xff\xd8", ".svg": b"<"}
_PAGE = (
    "#set page(width: auto, height: auto, margin: 0pt)\n"
    '#image("scan.pdf", page: int(sys.inputs.page))'
)


def scan_pictures(path: Path) -> list[tuple[str, bytes]]:
    """Return a scan as pictures: file ending and contents, one a page.

    Raises
    ------
    ScoreFileError
        If the file is missing, damaged, not what its name says, or has too many pages.
    """
    data = file_bytes(path)
    suffix = path.suffix.lower()
    if suffix != ".pdf":
        if not data.lstrip().startswith(_PICTURES[suffix]):
            raise ScoreFileError(f"{path.name}: this is not a {suffix[1:].upper()} picture")
        return [(suffix, data)]
    if not data.startswith(b"%PDF-"):
        raise ScoreFileError(f"{path.name}: this is not a PDF")
    pages: list[tuple[str, bytes]] = []
    with tempfile.TemporaryDirectory(prefix="fairhearing-scan-") as name:
        folder = Path(name)
        (folder / "scan.pdf").write_bytes(data)
        (folder / "page.typ").write_text(_PAGE, encoding="utf-8")
        compiler = typst.Compiler(str(folder / "page.typ"), root=str(folder))
        for number in range(1, MAX_PAGES + 2):
            try:
                made = compiler.compile(
                    format="png", ppi=SCAN_PPI, sys_inputs={"page": str(number)}
                )
            except typst.TypstError as error:
                if pages and "page" in str(error):
                    return pages
                raise ScoreFileError(
                    f"{path.name}: page {number} cannot be printed; save the PDF again "
                    "or attach pictures of its pages"
                ) from error
            pages.append((".png", made[0] if isinstance(made, list) else bytes(made or b"")))
    raise ScoreFileError(
        f"{path.name}: more than {MAX_PAGES} pages; attach only the pages that are asked for"
    )
