"""Work that runs beside the page, in processes of its own."""
