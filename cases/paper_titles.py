"""What the papers that are printed are called, on pages, papers and in the trail. Pure."""

PAPER_TITLES: dict[str, str] = {
    "label": "Container label",
    "receipt": "Receipt of remains",
    "certificate": "Certificate of cremation",
    "run_sheet": "Run sheet",
    "release_form": "Release receipt, to be filled in",
    "release": "Release receipt",
    "return_form": "Return receipt, to be filled in",
    "return": "Return receipt",
    "things_form": "Receipt for personal things, to be signed",
    "things": "Receipt for personal things",
    "trail": "Custody trail",
}
