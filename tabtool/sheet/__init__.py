"""A page to put on a stand.

The flow: `lines` makes rows of bars of a tune, `layout` gives everything a place on a page
(positions computed once, in millimetres), and one thin module a file format draws it:
`svg`, `html`, `pdf`, `png`. Nothing but `fonts` and those four needs a library.

The look is meant to be read from a metre away, and without colour:

* the lip line runs through every row; what is blown stands above it, round and white,
  what is drawn hangs below it, square and black;
* a note is a plate with the number of its hole; held on, it grows a tail, and each tap of
  the foot cuts a notch into it, so width is time;
* every tooth under a plate is a semitone of bend; a roof over it is an overblow or
  overdraw;
* a ruler below shows where the foot taps and how each beat is divided.
"""
