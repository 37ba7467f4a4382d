//! How a pipework hangs together, seen from the unit: what is nearer, what is farther, which lengths close rings; and from
//! that, what people call a place.
use plumeline_airflow::Place;
use plumeline_base::pipework::{OpeningKind, Pipework};

/// The pipework as trees from its inlets outward, with the segments left over that close rings.
#[derive(Clone, Debug, Default)]
pub struct Forest {
    /// Nodes from the unit outward, those of all inlets at once.
    pub order: Vec<usize>,
    /// The nodes next farther out, each with the segment that leads there.
    pub out: Vec<Vec<(usize, usize)>>,
    /// Segments that close a ring.
    pub closing: Vec<usize>,
    /// Openings at each node.
    pub openings: Vec<Vec<usize>>,
    /// Number of the inlet that each opening is listed under.
    pub inlet_of: Vec<Option<u8>>,
    /// Number of the inlet that each segment is nearest to, and the first opening at its far end or beyond.
    segment: Vec<(Option<u8>, Option<usize>)>,
}

impl Forest {
    /// Lays a pipework out.
    pub fn of(p: &Pipework) -> Self {
        let n = p.nodes.len();
        let mut openings = vec![Vec::new(); n];
        for (k, o) in p.openings.iter().enumerate() {
            if let Some(at) = openings.get_mut(o.node as usize) {
                at.push(k);
            }
        }
        let mut inlet_of = vec![None; p.openings.len()];
        for (inlet, listed) in p.inlets.iter().zip(p.openings_by_inlet()) {
            for k in listed {
                inlet_of[k] = Some(inlet.number);
            }
        }
        let mut joined = vec![Vec::new(); n];
        for (s, segment) in p.segments.iter().enumerate() {
            let (a, b) = (segment.near as usize, segment.far as usize);
            if a < n && b < n {
                joined[a].push((b, s));
                joined[b].push((a, s));
            }
        }
        let mut nearest = vec![None; n];
        let mut order = Vec::with_capacity(n);
        for inlet in &p.inlets {
            if let Some(at) = inlet.node.map(|id| id as usize).filter(|&at| at < n) {
                nearest[at] = Some(inlet.number);
                order.push(at);
            }
        }
        let mut used = vec![false; p.segments.len()];
        let mut out = vec![Vec::new(); n];
        let mut closing = Vec::new();
        let mut next = 0;
        while let Some(&at) = order.get(next) {
            next += 1;
            for &(to, s) in &joined[at] {
                if std::mem::replace(&mut used[s], true) {
                    continue;
                }
                if nearest[to].is_some() {
                    closing.push(s);
                } else {
                    nearest[to] = nearest[at];
                    order.push(to);
                    out[at].push((to, s));
                }
            }
        }
        let mut ahead: Vec<Option<usize>> = vec![None; n];
        let mut segment = vec![(None, None); p.segments.len()];
        for &at in order.iter().rev() {
            let beyond = out[at].iter().find_map(|&(to, _)| ahead[to]);
            ahead[at] = openings[at].first().copied().or(beyond);
            for &(to, s) in &out[at] {
                segment[s] = (nearest[at], ahead[to]);
            }
        }
        for &s in &closing {
            segment[s].0 = nearest[p.segments[s].near as usize];
        }
        Self { order, out, closing, openings, inlet_of, segment }
    }

    /// The inlet that a place belongs to, if it belongs to one.
    pub fn inlet_at(&self, p: &Pipework, place: Place) -> Option<u8> {
        match place {
            Place::Opening(k) => self.inlet_of.get(k).copied().flatten(),
            Place::Segment(s) => self.segment.get(s).and_then(|s| s.0),
            Place::Inlet(i) => p.inlets.get(i).map(|i| i.number),
            _ => None,
        }
    }

    /// What people call a place, without its inlet: a name, and the number that goes with it.
    pub fn named(&self, p: &Pipework, place: Place) -> (String, Option<u32>) {
        let opening = |k: usize| p.openings.get(k).map(|o| (kind_word(o.kind).to_owned(), Some(o.number)));
        let plain = |name: &str| Some((name.to_owned(), None));
        let named = match place {
            Place::Opening(k) => opening(k),
            Place::Segment(s) if self.closing.contains(&s) => plain("the length that closes a ring"),
            Place::Segment(s) => match self.segment.get(s).and_then(|s| s.1) {
                Some(k) => opening(k).map(|(name, number)| (format!("the length before {name}"), number)),
                None => plain("a length that leads to no hole"),
            },
            Place::Inlet(_) => plain("its holes"),
            Place::Drive => plain("the fan"),
            Place::Air => plain("the air"),
            Place::Unit => plain("the unit"),
            _ => None,
        };
        named.unwrap_or_else(|| (place.to_string(), None))
    }

    /// What people call a place, without its inlet.
    pub fn words(&self, p: &Pipework, place: Place) -> String {
        match self.named(p, place) {
            (name, Some(number)) => format!("{name} {number}"),
            (name, None) => name,
        }
    }

    /// What people call a place.
    pub fn full_words(&self, p: &Pipework, place: Place) -> String {
        match self.inlet_at(p, place) {
            Some(n) => format!("pipe {n}, {}", self.words(p, place)),
            None => self.words(p, place),
        }
    }
}

/// What people call an opening.
pub fn kind_word(kind: OpeningKind) -> &'static str {
    match kind {
        OpeningKind::Hole => "hole",
        OpeningKind::EndCap => "end cap",
        OpeningKind::OpenEnd => "open end",
    }
}
