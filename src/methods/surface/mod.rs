//! Heights from points, and how a surface lies.
