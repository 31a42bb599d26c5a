"""A page about this feeder for a phone beside it, on the local network, also while the server can't be reached.

    python3 agent.py ... --status 8090        then http://<the feeder's address>:8090/

It only shows: nothing can be ordered here, and the key is never on it. Anyone on the network can read it.
"""

import html
import http.server
import threading

STYLE = (
    "body{font:1.125rem/1.5 system-ui,sans-serif;margin:1.5rem;max-width:32rem;color-scheme:light dark}"
    "dt{font-weight:600;margin-top:.75rem}dd{margin:0}"
)


def page(rows):
    """HTML of (what, value) rows."""
    listed = "".join(f"<dt>{html.escape(name)}</dt><dd>{html.escape(str(value))}</dd>" for name, value in rows)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f'<meta http-equiv="refresh" content="10"><title>This feeder</title><style>{STYLE}</style></head>'
        f"<body><h1>This feeder</h1><dl>{listed}</dl></body></html>"
    ).encode()


class StatusPage:
    """Serves what `show` was last given, from a thread of its own: the feeder never waits for a browser."""

    def __init__(self, port, host=""):
        self.body = page([("State", "starting")])
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            timeout = 10  # seconds for a browser that says nothing

            def do_GET(self):
                if self.path != "/":
                    self.send_error(404)
                    return
                self.send_response(200)
                self.send_header("Content-Type", "text/html; charset=utf-8")
                self.send_header("Content-Length", str(len(outer.body)))
                self.send_header("Cache-Control", "no-store")
                self.end_headers()
                self.wfile.write(outer.body)

            def log_message(self, *_):
                pass

        self.server = http.server.ThreadingHTTPServer((host, port), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def show(self, rows):
        self.body = page(rows)

    def close(self):
        self.server.shutdown()
        self.server.server_close()
