"""How it is made, safely: operations, sequence, set-ups, handouts; the lesson engine and the command line."""
