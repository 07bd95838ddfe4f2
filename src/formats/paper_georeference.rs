//! Tells a PDF where its maps lie: a viewport with a geospatial measure a page (ISO 32000-2, 12.9 and 12.10).
//!
//! Added as an incremental update (ISO 32000-2, 7.5.6): the pages are written once more with a `/VP` entry and a second
//! cross-reference section points at them, so nothing of the original bytes moves.

use super::paper_out::PT;
use super::transform::strict;
use crate::finding::{Problem, ProblemKind};
use crate::land::geodesy::CrsTag;
use crate::land::paper::{GroundFrame, Paper};
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use std::fmt::Write as _;

fn bug(message: &str) -> Problem {
    Problem::new(ProblemKind::Bug, "georeference", message)
}

/// The same PDF with every map page georeferenced; unchanged without a map.
///
/// # Errors
/// When the file is not laid out as our writer lays it out.
pub fn georeferenced(mut bytes: Vec<u8>, paper: &Paper, crs: &CrsTag) -> Result<Vec<u8>, Problem> {
    if paper.pages.iter().all(|p| p.ground.is_none()) {
        return Ok(bytes);
    }
    let pages = page_objects(&bytes)?;
    let mut entries: Vec<(u32, usize)> = Vec::new();
    for (number, sheet) in pages.into_iter().zip(&paper.pages) {
        let Some(ground) = &sheet.ground else { continue };
        let dictionary = object(&bytes, number).ok_or_else(|| bug("a page has no object"))?;
        let close = dictionary.rfind(">>").ok_or_else(|| bug("a page has no dictionary"))?;
        let viewport = viewport(ground, sheet.size.1, crs)?;
        let text = format!("{number} 0 obj\n{}\n{viewport}\n>>\nendobj\n", dictionary[..close].trim_end());
        entries.push((number, bytes.len()));
        bytes.extend_from_slice(text.as_bytes());
    }
    close_update(&mut bytes, entries)?;
    Ok(bytes)
}

/// Cross-reference section and trailer of the update.
fn close_update(bytes: &mut Vec<u8>, mut entries: Vec<(u32, usize)>) -> Result<(), Problem> {
    let missing = || bug("the trailer is missing");
    let tail = find_last(bytes, b"trailer").ok_or_else(missing)?;
    let trailer = String::from_utf8_lossy(&bytes[tail..]).into_owned();
    let inner = trailer.split_once("<<").and_then(|(_, rest)| rest.split_once(">>")).ok_or_else(missing)?.0;
    let former = trailer.split_once("startxref").map(|(_, rest)| rest).ok_or_else(missing)?;
    let former: String = former.trim_start().chars().take_while(char::is_ascii_digit).collect();
    entries.sort_unstable();
    let start = bytes.len();
    let mut out = String::from("xref\n");
    for (number, at) in entries {
        let _ = write!(out, "{number} 1\n{at:010} 00000 n\r\n");
    }
    let _ = write!(out, "trailer\n<<{inner}/Prev {former}\n>>\nstartxref\n{start}\n%%EOF\n");
    bytes.extend_from_slice(out.as_bytes());
    Ok(())
}

/// Numbers of the page objects, in page order.
fn page_objects(bytes: &[u8]) -> Result<Vec<u32>, Problem> {
    let kids = find(bytes, b"/Kids").ok_or_else(|| bug("the page tree is missing"))?;
    let list = bytes[kids..].iter().position(|b| *b == b']').ok_or_else(|| bug("the page tree does not end"))?;
    let text = String::from_utf8_lossy(&bytes[kids + 5..kids + list]).into_owned();
    let words: Vec<&str> = text.trim_start_matches([' ', '[']).split_whitespace().collect();
    let numbers: Vec<u32> = words.chunks(3).filter_map(|c| c.first()?.trim_start_matches('[').parse().ok()).collect();
    if numbers.is_empty() { Err(bug("the page tree has no pages")) } else { Ok(numbers) }
}

/// The dictionary of an object, as text.
fn object(bytes: &[u8], number: u32) -> Option<String> {
    let head = format!("\n{number} 0 obj\n");
    let start = find(bytes, head.as_bytes())? + head.len();
    let end = start + find(&bytes[start..], b"endobj")?;
    std::str::from_utf8(&bytes[start..end]).ok().map(str::to_owned)
}

fn find(bytes: &[u8], word: &[u8]) -> Option<usize> {
    bytes.windows(word.len()).position(|w| w == word)
}

fn find_last(bytes: &[u8], word: &[u8]) -> Option<usize> {
    bytes.windows(word.len()).rposition(|w| w == word)
}

fn viewport(ground: &GroundFrame, page_height_mm: f64, crs: &CrsTag) -> Result<String, Problem> {
    let ((x, y), (w, h)) = (ground.at, ground.size);
    // The page's own axes run up from the lower left corner, in points.
    let box_pt = [x * PT, (page_height_mm - y - h) * PT, (x + w) * PT, (page_height_mm - y) * PT];
    let corners = corners_lat_lon(ground, crs)?;
    let mut gpts = String::new();
    for (lat, lon) in corners {
        let _ = write!(gpts, "{lat:.9} {lon:.9} ");
    }
    let code = crs.epsg.map_or_else(String::new, |c| format!("/EPSG {c} "));
    let wkt: String = crs.wkt.chars().filter(|c| c.is_ascii() && !c.is_control()).collect();
    let wkt = wkt.replace('\\', "\\\\").replace('(', "\\(").replace(')', "\\)");
    let bbox = box_pt.map(|v| format!("{v:.4}")).join(" ");
    Ok(format!(
        "/VP [<< /Type /Viewport /Name (Map) /BBox [{bbox}] /Measure << /Type /Measure /Subtype /GEO \
         /Bounds [0 0 0 1 1 1 1 0] /LPTS [0 0 0 1 1 1 1 0] /GPTS [{}] \
         /GCS << /Type /PROJCS {code}/WKT ({wkt}) >> >> >>]",
        gpts.trim_end()
    ))
}

/// Latitude and longitude of the corners on the datum of the map: lower left, upper left, upper right, lower right.
fn corners_lat_lon(ground: &GroundFrame, crs: &CrsTag) -> Result<[(f64, f64); 4], Problem> {
    let failed = |e: gdal::errors::GdalError| bug(&format!("the corners could not be placed: {e}"));
    let mut grid = SpatialRef::from_wkt(&crs.wkt).map_err(failed)?;
    let mut degrees = grid.geog_cs().map_err(failed)?;
    grid.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    degrees.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    let way = strict(&grid, &degrees).map_err(failed)?;
    let (low, high) = (ground.land.min(), ground.land.max());
    let mut xs = [low.x, low.x, high.x, high.x];
    let mut ys = [low.y, high.y, high.y, low.y];
    way.transform_coords(&mut xs, &mut ys, &mut []).map_err(failed)?;
    Ok(std::array::from_fn(|i| (ys[i], xs[i])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_update_points_at_the_pages_it_wrote() {
        let before = b"%PDF-1.7\n1 0 obj\n<<\n  /Type /Pages\n  /Kids [2 0 R]\n>>\nendobj\n2 0 obj\n<<\n  /Type /Page\n>>\nendobj\n\
            xref\n0 3\ntrailer\n<<\n  /Size 3\n  /Root 1 0 R\n>>\nstartxref\n123\n%%EOF";
        assert_eq!(page_objects(before).unwrap(), [2]);
        assert!(object(before, 2).unwrap().contains("/Type /Page"));
        let mut bytes = before.to_vec();
        close_update(&mut bytes, vec![(2, 60)]).unwrap();
        let text = String::from_utf8(bytes).unwrap();
        let added = &text[before.len()..];
        assert!(added.starts_with("xref\n2 1\n0000000060 00000 n\r\n") && added.contains("/Size 3"), "{added}");
        assert!(added.contains("/Prev 123") && added.contains(&format!("startxref\n{}\n", before.len())), "{added}");
        assert!(page_objects(b"no tree").is_err());
    }
}
