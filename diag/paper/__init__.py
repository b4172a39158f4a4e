"""The job on paper: a page to look at and to print, the owner's sheet, the parts list, and a PDF of any page."""
