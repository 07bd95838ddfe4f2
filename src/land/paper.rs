//! A printed paper before any file format: pages with marks in millimetres, and what each mark means.

use geo::{Coord, Rect};
use serde::{Deserialize, Serialize};

/// What a part of a paper is, for a reader who does not see it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum NodeKind {
    /// Heading of a level from 1.
    Heading(u8),
    /// Paragraph.
    Paragraph,
    /// List.
    List,
    /// One item of a list.
    Item,
    /// Table.
    Table,
    /// Row of a table.
    Row,
    /// Cell that names a column.
    HeadCell,
    /// Cell.
    Cell,
    /// Picture; the words stand for it.
    Figure,
}

/// One part of a paper; parts come in reading order, each after its parent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Node {
    /// What it is.
    pub kind: NodeKind,
    /// The part it belongs to, by index.
    pub parent: Option<usize>,
    /// Words that stand for a picture, or the title of a heading; else empty.
    pub words: String,
}

/// Something on a page; places and sizes in millimetres from the top left corner.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Mark {
    /// One line of text.
    Text {
        /// The part it belongs to; `None` for what repeats on every page.
        node: Option<usize>,
        /// Start of the base line.
        at: (f64, f64),
        /// Size of the type.
        size: f64,
        /// Heavy type.
        bold: bool,
        /// Colour, RGB.
        colour: [u8; 3],
        /// The words.
        text: String,
    },
    /// A filled rectangle: bars, rules and grounds that carry no meaning of their own.
    Fill {
        /// Upper left corner.
        at: (f64, f64),
        /// Width and height.
        size: (f64, f64),
        /// Colour, RGB.
        colour: [u8; 3],
    },
    /// An SVG drawing.
    Picture {
        /// The part it belongs to.
        node: usize,
        /// Upper left corner.
        at: (f64, f64),
        /// Width and height.
        size: (f64, f64),
        /// The drawing.
        svg: String,
    },
}

impl Mark {
    /// The same mark when its paper's parts come after `by` others.
    #[must_use]
    pub fn shifted(self, by: usize) -> Self {
        match self {
            Self::Text { node, at, size, bold, colour, text } => {
                Self::Text { node: node.map(|n| n + by), at, size, bold, colour, text }
            }
            Self::Picture { node, at, size, svg } => Self::Picture { node: node + by, at, size, svg },
            fill @ Self::Fill { .. } => fill,
        }
    }
}

/// Where a map on a page lies on the ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GroundFrame {
    /// Upper left corner on the page, millimetres.
    pub at: (f64, f64),
    /// Width and height on the page, millimetres.
    pub size: (f64, f64),
    /// The land it shows, working metres.
    pub land: Rect<f64>,
}

impl GroundFrame {
    /// Place on the page of a place on the land, millimetres.
    #[must_use]
    pub fn on_page(&self, p: Coord<f64>) -> (f64, f64) {
        let x = (p.x - self.land.min().x) / self.land.width();
        let y = (self.land.max().y - p.y) / self.land.height();
        (self.at.0 + x * self.size.0, self.at.1 + y * self.size.1)
    }
}

/// One page.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Page {
    /// Width and height, millimetres.
    pub size: (f64, f64),
    /// What is on it, lowest first.
    pub marks: Vec<Mark>,
    /// The ground a map on it shows.
    pub ground: Option<GroundFrame>,
}

/// A paper.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Paper {
    /// Title, as a viewer shows it.
    pub title: String,
    /// What it is about, in a sentence.
    pub about: String,
    /// Pages.
    pub pages: Vec<Page>,
    /// Parts in reading order.
    pub nodes: Vec<Node>,
}

/// A picture to be made from a drawing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    /// The drawing, SVG.
    pub svg: String,
    /// Width in pixels.
    pub width_px: u32,
}
