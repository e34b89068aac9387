//! The figures of any table of episodes or sizes, as `strandline survival` and `strandline growth` print them.
