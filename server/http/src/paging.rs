//! Pages of lists: in the order of ids, so that what is added or ends meanwhile moves nothing.

use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;
use whorl_contract::page::Page;

use crate::problem::Problem;

/// The most items on a page, and as many as come unasked.
pub(crate) const LONGEST_PAGE: usize = 500;

/// Which page of a list.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Paging {
    /// The `next_cursor` of the page before.
    pub(crate) cursor: Option<String>,
    /// How many items, from 1 to 500; what lies beyond is taken as the nearest of these.
    #[param(minimum = 0, maximum = 4_294_967_295_u32, default = 500, example = 500)]
    pub(crate) limit: Option<u32>,
}

/// How many items a page has that was asked for with `limit`, if `usual` come unasked.
pub(crate) fn length(limit: Option<u32>, usual: usize, longest: usize) -> usize {
    let asked = limit.map(|limit| usize::try_from(limit).unwrap_or(usize::MAX));
    asked.unwrap_or(usual).clamp(1, longest)
}

impl Paging {
    /// The page of a whole list. `id` tells an item's id; ids are UUIDs, and the list is put in their order.
    ///
    /// # Errors
    ///
    /// A problem if the cursor is none of ours.
    pub(crate) fn cut<T>(
        &self,
        mut items: Vec<T>,
        id: impl Fn(&T) -> Uuid,
    ) -> Result<Page<T>, Problem> {
        items.sort_by_key(&id);
        if let Some(cursor) = &self.cursor {
            let after: Uuid = cursor
                .parse()
                .map_err(|_| Problem::invalid("/cursor", "give back next_cursor as it came"))?;
            items.retain(|item| id(item) > after);
        }
        let limit = length(self.limit, LONGEST_PAGE, LONGEST_PAGE);
        let more = items.len() > limit;
        items.truncate(limit);
        let last = items.last().map(|item| id(item).to_string());
        Ok(Page {
            items,
            next_cursor: last.filter(|_| more),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(page: &Page<Uuid>) -> Vec<u128> {
        page.items.iter().map(Uuid::as_u128).collect()
    }

    #[test]
    fn pages_meet_without_a_gap_whatever_comes_between() {
        let mut list: Vec<Uuid> = [5, 1, 4, 2].map(Uuid::from_u128).to_vec();
        let first = Paging {
            cursor: None,
            limit: Some(2),
        };
        let page = first.cut(list.clone(), |id| *id).expect("a page");
        assert_eq!(numbers(&page), [1, 2]);
        list.push(Uuid::from_u128(3));
        list.retain(|id| id.as_u128() != 2);
        let second = Paging {
            cursor: page.next_cursor,
            limit: Some(u32::MAX),
        };
        let page = second.cut(list.clone(), |id| *id).expect("a page");
        assert_eq!((numbers(&page), page.next_cursor), (vec![3, 4, 5], None));
        let none = Paging {
            cursor: Some("5".into()),
            limit: Some(0),
        };
        assert!(none.cut(list, |id| *id).is_err());
    }
}
