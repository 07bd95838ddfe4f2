//! What the columns of the plan's layers mean, and the SQL that writes it into a GeoPackage (schema extension, OGC
//! 12-128r18, annex F.9).

use crate::land::document::Layer;

/// The meaning of a column, units included; empty for a column nobody has described.
#[must_use]
pub fn meaning(column: &str) -> &'static str {
    WORDS.iter().find(|(name, _)| *name == column).map_or("", |(_, words)| words)
}

const WORDS: &[(&str, &str)] = &[
    ("number", "Number in the stated order"),
    ("name", "Name"),
    ("parcel", "Parcel"),
    ("reason", "Reason"),
    ("protects", "What the strip protects"),
    ("width_m", "Full width, metres on the ground"),
    ("from_bank", "What the width is measured from"),
    ("order", "Strahler order"),
    ("catchment_ha", "Land that drains here, hectares"),
    ("stays_open", "Whether the line stays open when the land is formed"),
    ("area_m2", "Area, square metres"),
    ("max_depth_m", "Greatest depth of water before it spills, metres"),
    ("volume_m3", "Water held before it spills, cubic metres"),
    ("spill_level_m", "Level at which it spills, metres in the height datum"),
    ("within", "Number of the larger depression it becomes part of when it spills"),
    ("pour_east_m", "Easting of the place where it spills, metres"),
    ("pour_north_m", "Northing of the place where it spills, metres"),
    ("peak_m3_s", "Larger peak of the design rain before and after the works, m3/s"),
    ("passes_m3_s", "What the pipe passes with the rise of water allowed, m3/s"),
    ("culvert", "Name of the mapped culvert, or that one is only supposed"),
    ("diameter_mm", "Inside diameter, millimetres"),
    ("cut_depth_m", "Height of the ground over the bed of the opening, at most, metres"),
    ("block", "Number of the block"),
    ("area_ha", "Area on the grid, hectares"),
    ("area_ellipsoidal_ha", "Area on the ellipsoid, hectares"),
    ("cropped_ha", "Area under rows, hectares"),
    ("row_shape", "Whether the rows are straight or bend; bearings of rows that bend are their mean"),
    ("bearing_grid_deg", "Bearing clockwise from grid north, degrees"),
    ("bearing_true_deg", "Bearing clockwise from true north, degrees"),
    ("row_spacing_m", "Row spacing on the ground, metres"),
    ("rows", "Count of rows"),
    ("row_metres_m", "Row length of the whole block, metres on the ground"),
    ("length_mean_m", "Mean row length, metres"),
    ("length_median_m", "Median row length, metres"),
    ("length_p10_m", "Row length that one row in ten does not reach, metres"),
    ("surface", "Kind of surface the block gets"),
    ("row_fall_pct", "Fall along the rows, per cent"),
    ("row_fall_1_in_n", "Fall along the rows, as 1 in n"),
    ("earth_m3", "Earth cut, bank cubic metres"),
    ("earth_m3_per_ha", "Earth cut, bank cubic metres a hectare"),
    ("haul_mean_m", "Mean haul, metres"),
    ("cost", "Likely price of the earthworks in the currency of the run"),
    ("gap_pct", "Share by which the earth exceeds the proven least, per cent"),
    ("length_m", "Length on the ground, metres"),
    ("fall_mean_pct_before", "Mean fall on the ground as it lies, per cent"),
    ("fall_min_pct_before", "Least fall on the ground as it lies, per cent"),
    ("reverse_depth_mm_before", "Deepest water standing in the row on the ground as it lies, millimetres"),
    ("fall_1_in_n_before", "Mean fall on the ground as it lies, as 1 in n"),
    ("fall_mean_pct_after", "Mean fall on the design, per cent"),
    ("fall_min_pct_after", "Least fall on the design, per cent"),
    ("reverse_depth_mm_after", "Deepest water standing in the row on the design, millimetres"),
    ("fall_1_in_n_after", "Mean fall on the design, as 1 in n"),
    ("drains_before", "Whether the row drains on the ground as it lies"),
    ("drains_after", "Whether the row drains on the design"),
    ("drains_to", "Where the water goes"),
    ("margin_m_before", "Height of the row's low end over the water it drains into, ground as it lies, metres"),
    ("margin_m_after", "Height of the row's low end over the water it drains into, design, metres"),
    ("kind", "Kind"),
    ("ground", "As it lies (before) or as designed (after)"),
    ("row_first", "Lowest number of the rows standing wet"),
    ("row_last", "Highest number of the rows standing wet"),
    ("from_row", "Row the water leaves"),
    ("to_row", "Row the water enters"),
    ("crest_m", "Level of the ridge, metres in the height datum"),
    ("below_own_way_mm", "How much higher the water would have to rise to run out along its own furrow, millimetres"),
    ("standing_mm_before", "Deepest water standing in the furrow before it runs on, ground as it lies, millimetres"),
    ("standing_mm_after", "Deepest water standing in the furrow before it runs on, design, millimetres"),
    ("end_ha_before", "Land whose water leaves at the row's end, ground as it lies, hectares"),
    ("end_ha_after", "Land whose water leaves at the row's end, design, hectares"),
    ("end_l_s_before", "Peak discharge at the row's end under the design rain, ground as it lies, litres a second"),
    ("end_l_s_after", "Peak discharge at the row's end under the design rain, design, litres a second"),
    ("state", "Planned, or there already and staying"),
    ("drain", "Drain"),
    ("grade_pct", "Mean fall of the bed, per cent"),
    ("grade_1_in_n", "Mean fall of the bed, as 1 in n"),
    ("bottom_m", "Width of the bed where it is widest, metres"),
    ("batter_h_per_v", "Slope of the sides, metres across for one metre up"),
    ("depth_m", "Greatest depth, metres"),
    ("rational_m3_s", "Peak flow by the rational method, cubic metres a second"),
    ("coefficient_m3_s", "Flow by the drainage coefficient, cubic metres a second"),
    ("design_m3_s", "Flow the section is made for, cubic metres a second"),
    ("flow_depth_m", "Depth of the design flow, grown up, metres"),
    ("velocity_m_s", "Velocity of the design flow on a clean bed, metres a second"),
    ("velocity_limit_m_s", "Velocity the soil or lining stands, metres a second"),
    ("excavation_m3", "Excavation, bank cubic metres"),
    ("deficit_m", "How far the mouth would have to lie lower than it may, metres"),
    ("crosses", "What is crossed"),
    ("needs", "What the crossing needs"),
    ("culvert_mm", "Least diameter of a pipe, millimetres"),
    ("load_t", "Debris, tonnes"),
    ("stays", "Whether it stays through the first crop"),
    ("nearest_m", "Distance to the nearest thing at risk, metres"),
    ("nearest", "The nearest thing at risk"),
    ("row", "Number of the row a line is for alone"),
    ("a_east_m", "Easting of point A, metres"),
    ("a_north_m", "Northing of point A, metres"),
    ("b_east_m", "Easting of point B, metres"),
    ("b_north_m", "Northing of point B, metres"),
    ("passes_left", "Passes to the left of the line as seen from A"),
    ("passes_right", "Passes to the right of the line as seen from A"),
    ("point", "Number of the peg; BM for a benchmark"),
    ("easting", "Easting, metres"),
    ("northing", "Northing, metres"),
    ("rl_design", "Design level, metres in the height datum"),
    ("rl_existing", "Surveyed level, metres in the height datum"),
    ("cut_fill", "Cut (positive) or fill (negative), metres"),
    ("code", "What is to be done at the peg"),
    ("description", "Remark"),
    ("grid", "Plan system"),
    ("height_datum", "Height datum"),
    ("level_m", "Level, metres in the height datum"),
    ("heavy", "Whether it is drawn heavier"),
    ("volume_bank_m3", "Earth carried, bank cubic metres"),
    ("distance_m", "Mean haul along the way, metres"),
    ("from_e", "Easting of the middle of the cut, metres"),
    ("from_n", "Northing of the middle of the cut, metres"),
    ("to_e", "Easting of the middle of the fill, metres"),
    ("to_n", "Northing of the middle of the fill, metres"),
    ("risk", "What is left of the topsoil"),
    ("least_topsoil_mm", "Least topsoil left, millimetres; negative where the cut goes into subsoil"),
    ("capacity_m3", "How much the place gives or takes, bank cubic metres; nothing without a limit"),
    ("price_per_m3", "Price of a bank cubic metre beside the haul, currency of the run"),
    ("crop_haul_m", "Mean way of the crop to the loading place, metres"),
    ("layout_earth_m3", "Least earth the layout was judged by, on a coarse lattice, cubic metres"),
    ("layout_earth_gap_pct", "Share by which that earth may exceed the least possible, per cent"),
    ("yearly_turning", "Turns at row ends, currency a year"),
    ("yearly_headland", "Margin lost on headlands and land too short to plant, with their grass, currency a year"),
    ("yearly_drain_land", "Margin lost on land under drains, currency a year"),
    ("yearly_drain_digging", "Digging of drains along the low ends, spread over years, currency a year"),
    ("yearly_short_rows", "Extra time in short rows, currency a year"),
    ("yearly_long_rows", "Drains across rows longer than the furrow can carry, currency a year"),
    ("yearly_fall", "Ponding or scour where the fall stays outside the limits, currency a year"),
    ("yearly_earth", "Earth with its haul, spread over years, currency a year"),
    ("yearly_crop_haul", "Haul of the crop to the loading place, currency a year"),
    ("yearly_undrained", "Rows whose low end lies below the drain reach, currency a year"),
    ("yearly_total", "Sum of the yearly terms, currency a year"),
];

/// SQL that adds the schema tables, registers the extension and describes every column of every layer.
#[must_use]
pub fn statements(layers: &[Layer]) -> Vec<String> {
    let about = "http://www.geopackage.org/spec121/#extension_schema";
    let mut all = vec![
        "CREATE TABLE gpkg_data_columns(table_name TEXT NOT NULL,column_name TEXT NOT NULL,name TEXT,title TEXT,\
         description TEXT,mime_type TEXT,constraint_name TEXT,CONSTRAINT pk_gdc PRIMARY KEY(table_name,column_name),\
         CONSTRAINT gdc_tn UNIQUE(table_name,name))"
            .to_owned(),
        "CREATE TABLE gpkg_data_column_constraints(constraint_name TEXT NOT NULL,constraint_type TEXT NOT NULL,value TEXT,\
         min NUMERIC,min_is_inclusive BOOLEAN,max NUMERIC,max_is_inclusive BOOLEAN,description TEXT,\
         CONSTRAINT gdcc_ntv UNIQUE(constraint_name,constraint_type,value))"
            .to_owned(),
    ];
    for table in ["gpkg_data_columns", "gpkg_data_column_constraints"] {
        all.push(format!(
            "INSERT INTO gpkg_extensions(table_name,column_name,extension_name,definition,scope) \
             VALUES('{table}',NULL,'gpkg_schema','{about}','read-write')"
        ));
    }
    for layer in layers {
        for field in layer.fields.iter().filter(|f| !meaning(&f.name).is_empty()) {
            let words = meaning(&field.name).replace('\'', "''");
            let (table, column) = (&layer.name, &field.name);
            all.push(format!(
                "INSERT INTO gpkg_data_columns(table_name,column_name,name,title,description) \
                 VALUES('{table}','{column}','{column}','{words}','{words}')"
            ));
        }
    }
    all
}
