//! Set-out files read back: structure by an XML parser, heights and stations by hand.

use super::sections;
use crate::land::document::Content;
use crate::land::set_out::SetOutTable;
use crate::publish::tests::{build_ready, made, text};

/// The volume of the triangles as another program would rebuild it from the file, against the raster's own.
#[test]
fn land_xml_rebuilds_to_the_same_volume() {
    let f = build_ready();
    let documents = made(&f);
    let xml = text(&documents, "set_out/design_surface.xml");
    let mut reader = quick_xml::Reader::from_str(xml);
    let (mut points, mut faces, mut inside) = (Vec::new(), Vec::new(), String::new());
    loop {
        match reader.read_event().unwrap() {
            quick_xml::events::Event::Start(e) => inside = e.name().as_ref().to_owned(),
            quick_xml::events::Event::End(_) => inside.clear(),
            quick_xml::events::Event::Text(t) => {
                let words = t.to_string();
                let numbers = || words.split_whitespace().map(|w| w.parse::<f64>().unwrap()).collect::<Vec<_>>();
                match inside.as_str() {
                    "P" => points.push(numbers()),
                    "F" => faces.push(numbers()),
                    _ => {}
                }
            }
            quick_xml::events::Event::Eof => break,
            _ => {}
        }
    }
    let raster = &f.levelling.design.0.0;
    let datum = raster.iter().map(|(_, z)| f64::from(z)).fold(f64::INFINITY, f64::min) - 1.0;
    let (mut volume, mut area) = (0.0, 0.0);
    for face in &faces {
        let corner = |i: usize| &points[face[i] as usize - 1];
        let (a, b, c) = (corner(0), corner(1), corner(2));
        // Northing comes first in the file, so the turn is counted the other way round.
        let plan = -0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]));
        assert!(plan > 0.0, "faces run counter-clockwise");
        area += plan;
        volume += plan * ((a[2] + b[2] + c[2]) / 3.0 - datum);
    }
    let mean = raster.iter().map(|(_, z)| f64::from(z) - datum).sum::<f64>() / raster.count_valid() as f64;
    assert!((volume / area - mean).abs() < 0.02, "{} {mean}", volume / area);
    assert!(xml.contains("version=\"1.2\"") && xml.contains("linearUnit=\"meter\"") && !xml.contains("CONCEPT"));
}

#[test]
fn concept_is_written_on_everything() {
    let mut f = build_ready();
    f.set_out = SetOutTable { concept: true, ..SetOutTable::default() };
    let documents = made(&f);
    let files: Vec<_> = documents.iter().filter(|d| d.path.starts_with("set_out/")).collect();
    assert!(files.len() > 5);
    for file in files {
        assert!(file.path.starts_with("set_out/CONCEPT_"), "{}", file.path);
        match &file.content {
            Content::Text(t) => assert!(t.contains("CONCEPT"), "{}", file.path),
            Content::GeoTiff(sheet) => assert!(sheet.description.starts_with("CONCEPT")),
            other => panic!("{other:?}"),
        }
    }
    assert!(documents.iter().any(|d| d.path == "geojson/set_out_point_concept.geojson"));
    assert!(documents.iter().all(|d| d.path != "geojson/set_out_point.geojson"));
    let pegs = text(&documents, "set_out/CONCEPT_pegs.csv");
    assert!(pegs.lines().skip(1).all(|l| l.contains(",CONCEPT ") || l.starts_with("BM")), "{pegs}");
}

/// Each thing that speaks against building is enough to write nothing.
#[test]
fn a_ground_not_good_enough_is_refused() {
    let good = build_ready();
    assert!(good.set_out.objections(&good.site, Some(&good.ground)).is_empty());
    type Spoil = fn(&mut crate::publish::tests::Farm);
    let spoils: [Spoil; 6] = [
        |f| f.ground.accuracy.known = false,
        |f| f.ground.accuracy.vertical_sigma_m = 0.051,
        |f| f.ground.smoothed_over_m = 3.6,
        |f| f.set_out.ground_surveyed_after_clearing = false,
        |f| f.site.crs.vertical_name = None,
        |f| f.site.layers.control_points.clear(),
    ];
    for (i, spoil) in spoils.iter().enumerate() {
        let mut f = build_ready();
        spoil(&mut f);
        assert_eq!(f.set_out.objections(&f.site, Some(&f.ground)).len(), 1, "case {i}");
        let documents = made(&f);
        assert!(documents.iter().all(|d| !d.path.starts_with("set_out/") && !d.path.contains("set_out_point")));
    }
}

#[test]
fn the_plain_peg_list_is_number_northing_easting_height_code() {
    let documents = made(&build_ready());
    let plain = text(&documents, "set_out/pegs_pnezd.csv");
    for line in plain.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(cells.len(), 5, "{line}");
        assert!(line.is_ascii() && cells[1..4].iter().all(|c| c.parse::<f64>().is_ok()), "{line}");
    }
    assert!(plain.lines().next().is_some_and(|l| l.starts_with("BM1,")), "{plain}");
}

#[test]
fn dxf_holds_pairs_of_lines_and_metres() {
    let documents = made(&build_ready());
    let dxf = text(&documents, "set_out/design_surface.dxf");
    let lines: Vec<&str> = dxf.lines().collect();
    assert!(lines.len().is_multiple_of(2) && lines.iter().step_by(2).all(|code| code.trim().parse::<u16>().is_ok()));
    assert!(dxf.is_ascii() && dxf.contains("$INSUNITS\n70\n6\n") && dxf.contains("3DFACE\n8\nDESIGN_TIN\n"));
    assert!(dxf.contains("BENCHMARK") && dxf.ends_with("0\nEOF\n"));
}

/// By hand: a bed from 10.00 at 0 m to 9.90 at 50 m, a drop of 0.30 there, then to 9.50 at 70 m.
#[test]
fn stations_every_twenty_metres_and_at_drops() {
    let at = |station_m: f64, invert_m: f64, drop_m: f64| crate::land::drains::DrainStation {
        station_m,
        at: geo::Coord { x: station_m, y: 0.0 },
        ground_m: 11.0,
        invert_m,
        drop_m,
        bottom_m: 1.0,
    };
    let found = sections::stations(&[at(0.0, 10.0, 0.0), at(50.0, 9.9, 0.3), at(70.0, 9.5, 0.0)], 20.0);
    let pairs: Vec<(f64, f64)> = found.iter().map(|s| (s.station_m, (s.invert_m * 1e4).round() / 1e4)).collect();
    assert_eq!(pairs, [(0.0, 10.0), (20.0, 9.96), (40.0, 9.92), (50.0, 9.9), (60.0, 9.55), (70.0, 9.5)]);
}
