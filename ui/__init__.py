"""The person's side: command line (where everything is put together), dashboard, speech and sound.

May import every room; hands the simulator to the service as a source.
"""
