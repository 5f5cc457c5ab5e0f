"""The compiled search for tied visits: sites that come several times in the horizon, on one of several patterns of days.

    arrays    the problem as arrays, which problems it knows, and the way back
    rounds    keeping a round's sums, undoing        moves   the local search      placing  taking out, putting back
    turns     one turn after another             lane    one search            compiling  when the functions are ready

Functions on the arrays are compiled when they are first wanted (see compiling); interpreted they give the same plans, slowly."""
