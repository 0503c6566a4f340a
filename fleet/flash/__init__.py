"""The first load of a board over USB: what is written where, the board on its port, what can go wrong on a bench."""
