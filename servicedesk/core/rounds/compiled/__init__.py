"""The compiled search on arrays: sites that come once or several times in the horizon, on one of several patterns of days, within windows
on the virtual clock.

    reading   the problem read, and what is not known     arrays    as arrays, and plans out of them again
    rounds    keeping a round's sums, undoing             clocked   hours of a round that is cut and joined
    moves     the local search     doing  its moves made  placing   taking out, putting back     filling  refills on the way
    turns     one turn after another                      lane      one search     compiling  when the functions are ready

Functions on the arrays are compiled when they are first wanted (see compiling); interpreted they give the same plans, slowly."""
