"""stovergeo: which ground can give up corn stover, how, and where the bales should stand.

The rooms, in the order the data go through them (each usable alone):
`layers`, `yieldmap`, `terrain`, `residue`, `zones`, `bales`, `yards`, `supply`, `share`.
`stovergeo.season` walks the whole way from a plan file to the landowner's map.
"""

__version__ = "0.1.0"
