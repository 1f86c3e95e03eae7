"""The commands: each reads its arguments, calls one act of `drive` and prints."""
