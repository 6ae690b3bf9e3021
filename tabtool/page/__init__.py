"""The page: the commands' own calls, over loopback, for the browser.

`server` is the door (who may ask, for what, how much); `api` answers; `folder` keeps to
the opened folder; `view` and `play` turn a score into what is drawn and heard. The
client's sources are in `client`, what they build to in `static`.
"""
