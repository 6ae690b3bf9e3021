"""The page: the commands' own calls, over loopback, for the browser.

`server` is the door (who may ask, for what, how much), `api` what may be asked. `folder`
keeps to the opened folder, `keep` to the player's settings. `view` and `play` turn a score
into what is drawn and heard; `moving`, `formats` and `takes` call on retab and ranking, the
readers and writers, and the judging of recordings. The client's sources are in ``client``,
what they build to in ``static``.
"""
