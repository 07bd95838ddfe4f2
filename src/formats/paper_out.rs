//! Papers as PDF: tagged for readers who do not see them, every font inside, no clock.

use super::paper_georeference::georeferenced;
use super::picture_out;
use crate::finding::{Problem, ProblemKind};
use crate::land::geodesy::CrsTag;
use crate::land::paper::{Mark, Node, NodeKind, Paper};
use crate::land::typeface::{FACES, pieces, width};
use krilla::color::rgb;
use krilla::configure::{Configuration, Validator};
use krilla::destination::XyzDestination;
use krilla::error::KrillaResult;
use krilla::geom::{PathBuilder, Point, Rect, Size};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{
    ArtifactType, ContentTag, Identifier, ListNumbering, SpanTag, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};
use krilla::text::{Font, TextDirection};
use krilla::{Document, SerializeSettings};
use krilla_svg::{SurfaceExt, SvgSettings};
use std::num::NonZeroU16;

/// Points a millimetre.
pub(super) const PT: f64 = 72.0 / 25.4;

fn bug(message: impl Into<String>) -> Problem {
    Problem::new(ProblemKind::Bug, "paper", message)
}

#[expect(clippy::cast_possible_truncation, reason = "places on paper")]
fn pt(mm: f64) -> f32 {
    (mm * PT) as f32
}

/// The bytes of a paper.
///
/// It keeps to PDF/UA-1 (ISO 14289-1). Should a name the program has never met break one of that standard's rules, the
/// paper comes out tagged all the same, without the claim: a plan is not lost for it.
///
/// # Errors
/// When a page has no size or a drawing cannot be read.
pub fn pdf(paper: &Paper, crs: &CrsTag) -> Result<Vec<u8>, Problem> {
    let strict = Configuration::new_with_validator(Validator::UA1);
    let bytes = match written(paper, strict)? {
        Ok(bytes) => bytes,
        Err(_) => {
            written(paper, Configuration::new())?.map_err(|e| bug(format!("the PDF could not be made: {e:?}")))?
        }
    };
    georeferenced(bytes, paper, crs)
}

fn written(paper: &Paper, configuration: Configuration) -> Result<KrillaResult<Vec<u8>>, Problem> {
    let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let fonts = fonts()?;
    let mut parts: Vec<Vec<Identifier>> = vec![Vec::new(); paper.nodes.len()];
    let mut outline = Outline::new();
    for (index, sheet) in paper.pages.iter().enumerate() {
        let size =
            PageSettings::from_wh(pt(sheet.size.0), pt(sheet.size.1)).ok_or_else(|| bug("a page without size"))?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        for mark in &sheet.marks {
            if let Some((node, at)) = heading_of(paper, mark) {
                let place = XyzDestination::new(index, Point::from_xy(pt(at.0), pt(at.1 - 6.0)));
                outline.push_child(OutlineNode::new(node.words.clone(), place));
            }
            draw(&mut surface, mark, &fonts, &mut parts)?;
        }
        surface.finish();
        page.finish();
    }
    document.set_outline(outline);
    document.set_tag_tree(tree(&paper.nodes, &parts));
    document.set_metadata(
        Metadata::new()
            .title(paper.title.clone())
            .description(paper.about.clone())
            .language("en".to_owned())
            .creator("rowfall".to_owned()),
    );
    Ok(document.finish())
}

fn fonts() -> Result<Vec<Font>, Problem> {
    FACES
        .iter()
        .map(|f| Font::new(f.bytes().to_vec().into(), 0).ok_or_else(|| bug(format!("font {f:?} does not open"))))
        .collect()
}

/// The first line of a first-level heading goes into the outline.
fn heading_of<'a>(paper: &'a Paper, mark: &Mark) -> Option<(&'a Node, (f64, f64))> {
    let Mark::Text { node: Some(node), at, text, .. } = mark else { return None };
    let part = paper.nodes.get(*node)?;
    let first = part.words.starts_with(text.as_str()) && matches!(part.kind, NodeKind::Heading(1 | 2));
    first.then_some((part, *at))
}

fn draw(surface: &mut Surface<'_>, mark: &Mark, fonts: &[Font], parts: &mut [Vec<Identifier>]) -> Result<(), Problem> {
    match mark {
        Mark::Text { node, at, size, bold, colour, text } => {
            let id = match node {
                Some(_) => surface.start_tagged(ContentTag::Span(SpanTag::empty())),
                None => surface.start_tagged(ContentTag::Artifact(ArtifactType::Footer)),
            };
            surface.set_fill(Some(fill(*colour)));
            surface.set_stroke(None);
            line(surface, *at, *size, *bold, text, fonts);
            surface.end_tagged();
            if let Some(list) = node.and_then(|n| parts.get_mut(n)) {
                list.push(id);
            }
        }
        Mark::Fill { at, size, colour } => {
            let Some(rect) = Rect::from_xywh(pt(at.0), pt(at.1), pt(size.0), pt(size.1)) else { return Ok(()) };
            let mut path = PathBuilder::new();
            path.push_rect(rect);
            if let Some(path) = path.finish() {
                surface.start_tagged(ContentTag::Artifact(ArtifactType::Other));
                surface.set_fill(Some(fill(*colour)));
                surface.set_stroke(None);
                surface.draw_path(&path);
                surface.end_tagged();
            }
        }
        Mark::Picture { node, at, size, svg } => {
            let tree = picture_out::tree(svg)?;
            let size = Size::from_wh(pt(size.0), pt(size.1)).ok_or_else(|| bug("a picture without size"))?;
            let id = surface.start_tagged(ContentTag::Other);
            surface.push_transform(&krilla::geom::Transform::from_translate(pt(at.0), pt(at.1)));
            surface.draw_svg(&tree, size, SvgSettings::default()).ok_or_else(|| bug("a drawing was not taken"))?;
            surface.pop();
            surface.end_tagged();
            if let Some(list) = parts.get_mut(*node) {
                list.push(id);
            }
        }
    }
    Ok(())
}

fn fill([r, g, b]: [u8; 3]) -> Fill {
    Fill { paint: rgb::Color::new(r, g, b).into(), ..Fill::default() }
}

/// Sets a line, piece by piece, left to right as seen.
fn line(surface: &mut Surface<'_>, at: (f64, f64), size: f64, bold: bool, text: &str, fonts: &[Font]) {
    let mut x = at.0;
    for piece in pieces(text, bold) {
        let direction = if piece.right_to_left { TextDirection::RightToLeft } else { TextDirection::LeftToRight };
        let font = fonts[piece.face as usize].clone();
        surface.draw_text(Point::from_xy(pt(x), pt(at.1)), font, pt(size), piece.text, false, direction);
        x += width(piece.text, bold, size);
    }
}

/// The parts as a tree, in reading order.
fn tree(nodes: &[Node], parts: &[Vec<Identifier>]) -> TagTree {
    let mut groups: Vec<Option<TagGroup>> = nodes
        .iter()
        .zip(parts)
        .map(|(node, ids)| {
            let mut group = TagGroup::new(tag(node));
            let inner = if node.kind == NodeKind::Item { Some(TagGroup::new(Tag::LBody)) } else { None };
            if let Some(mut body) = inner {
                ids.iter().for_each(|id| body.push(*id));
                group.push(body);
            } else {
                ids.iter().for_each(|id| group.push(*id));
            }
            Some(group)
        })
        .collect();
    let mut top = Vec::new();
    // Children come after their parents: from the back, each is complete when its turn comes.
    let mut children: Vec<Vec<usize>> = vec![Vec::new(); nodes.len()];
    for (i, node) in nodes.iter().enumerate() {
        match node.parent {
            Some(parent) => children[parent].push(i),
            None => top.push(i),
        }
    }
    for i in (0..nodes.len()).rev() {
        for child in std::mem::take(&mut children[i]) {
            if let (Some(inner), Some(outer)) = (groups[child].take(), groups[i].as_mut()) {
                outer.push(inner);
            }
        }
    }
    let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
    for i in top {
        if let Some(group) = groups[i].take() {
            tree.push(group);
        }
    }
    tree
}

fn tag(node: &Node) -> TagKind {
    match node.kind {
        NodeKind::Heading(level) => {
            let level = NonZeroU16::new(u16::from(level)).unwrap_or(NonZeroU16::MIN);
            Tag::Hn(level, Some(node.words.clone())).into()
        }
        NodeKind::Paragraph => Tag::P.into(),
        NodeKind::List => Tag::L(ListNumbering::Disc).into(),
        NodeKind::Item => Tag::LI.into(),
        NodeKind::Table => Tag::Table.with_summary(Some(node.words.clone())).into(),
        NodeKind::Row => Tag::TR.into(),
        NodeKind::HeadCell => Tag::TH(TableHeaderScope::Column).into(),
        NodeKind::Cell => Tag::TD.into(),
        NodeKind::Figure => Tag::Figure(Some(node.words.clone())).into(),
    }
}
