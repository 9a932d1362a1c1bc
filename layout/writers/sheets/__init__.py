"""Site sheets: the PDF that the fitter works from. `plan_sheets` in `book` is the entry."""
