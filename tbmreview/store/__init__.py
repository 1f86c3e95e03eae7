"""The drive folder: catalogue, chunks, derived files. Alone knows the files on disk."""
