//! What depends on the operating system: pseudo-terminals, signals, processes.
//! Another system is a module beside `unix`, not a rewrite.
