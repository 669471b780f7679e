"""The paste desk: a page on this computer for people who do not live in a terminal. Gives nothing but that page.

No stage: like `run.py` it joins them. It listens on 127.0.0.1 and connects to nothing; it is the one exception to the
rule that the program has nothing to do with a network.
"""

from pipeline.desk.app import create_app
from pipeline.desk.serve import serve

__all__ = ["create_app", "serve"]
