//! Lines and polygons on the plan.
