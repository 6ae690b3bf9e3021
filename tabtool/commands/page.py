"""Open a folder of tunes in the browser: write, see, hear and move them by hand.

The page is served to this machine only, from this program alone; nothing is sent
anywhere. Stop it with Ctrl-C.
"""

from __future__ import annotations

import argparse
import os
import sys
import webbrowser

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.load import SUFFIX

PORT = 8173


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", nargs="?", default=".", metavar="FOLDER", help="a folder of tunes, or one tune"
    )
    parser.add_argument(
        "--port",
        type=int,
        default=None,
        metavar="N",
        help=f"the port on 127.0.0.1 (otherwise {PORT}, or any that is free)",
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address and open no browser"
    )
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    folder, first = args.folder, ""
    if os.path.isfile(folder) and folder.endswith(SUFFIX):
        folder, first = os.path.split(os.path.abspath(folder))
    if not os.path.isdir(folder):
        raise TabError(f"{args.folder}: no folder; name a folder of tunes, or one {SUFFIX} file")
    if args.port is not None and not 0 <= args.port <= 65535:
        raise TabError(f"--port {args.port}: a port is a number from 0 to 65535")
    try:
        from tabtool.page import server
    except ImportError:
        raise TabError("the page needs one more part: pip install 'tabtool[page]'") from None
    from tabtool.page.keep import settings_path

    try:
        listening = server.listen(PORT if args.port is None else args.port)
    except TabError:
        if args.port is not None:
            raise
        listening = server.listen(0)
    port = listening.getsockname()[1]
    address = f"http://127.0.0.1:{port}/"

    def opened() -> None:
        if args.json:
            common.print_json({"address": address, "folder": os.path.abspath(folder)})
        else:
            print(f"the page is at {address} (stop it with Ctrl-C)")
        sys.stdout.flush()
        if not args.no_browser:
            webbrowser.open(address)

    server.serve(server.make_app(folder, port, settings_path(), first), listening, opened)
    return OK
