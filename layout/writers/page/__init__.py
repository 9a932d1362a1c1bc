"""The job as one self-contained page, for the phone on site and the desk."""
