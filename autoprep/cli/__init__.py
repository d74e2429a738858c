"""The command line: parses, prints, exits.

Exit codes: 0 done; 1 something needs attention (a photo was set aside or failed); 2 wrong use or wrong settings;
3 another Autoprep works in this studio; 130 stopped by Ctrl-C.
"""

from autoprep.cli.main import main

__all__ = ["main"]
