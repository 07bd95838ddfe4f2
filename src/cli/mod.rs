//! The command line: arguments, messages, progress, exit codes.
