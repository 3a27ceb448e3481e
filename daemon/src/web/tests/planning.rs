//! The page of plans.
use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_is_reckoned_from_the_shelf_from_the_form_and_from_nothing_known() {
    let served = serve(made().snapshot.clone()).await;
    let (status, page) = served.page("/plan").await;
    assert!(status == 200 && page.contains("Plan for oak") && page.contains("Stuck on and covered"), "{page}");
    let at = |part: &str| page.find(part).unwrap_or_else(|| panic!("no {part}"));
    // The worst case stands before all that can be set or hidden, and the caution after all.
    assert!(at("id=\"plan-line\"") < at("id=\"plan-worst\"") && at("id=\"plan-worst\"") < at("<form"), "{page}");
    assert!(at("id=\"plan-worst\"") < at("<details") && at("<details") < at("class=\"caution\""), "{page}");
    assert!(page.contains("<a href=\"/plan\" aria-current=\"page\">Plan</a>"), "{page}");
    // An empty field is not known: no limit, no largest mat.
    let (status, part) = served.page("/plan/fragment?nest=oak&limit=&material_limit=&watts=2,5").await;
    assert!(status == 200 && part.contains("Yours") == part.contains("The largest mat"), "{part}");
    assert!(part.contains("No largest mat is named") && part.contains("heating mat 2.5 W"), "{part}");
    assert!(!part.contains("<html") && !part.contains("<form"), "{part}");
    let (status, own) = served.page("/plan?length=150&pad_from=0&pad_to=40&watts=2&material=plaster").await;
    assert!(
        status == 200 && own.contains("Plan for this nest") && own.contains("plaster by handbook numbers"),
        "{own}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_that_is_not_understood_says_so_and_keeps_the_form() {
    let served = serve(made().snapshot.clone()).await;
    let hostile = "/plan?length=200&pad_from=0&pad_to=60&watts=%3Cscript%3Ealert(1)%3C/script%3E";
    for (asked, words) in [
        (hostile, "is no number: write one"),
        ("/plan?nest=elm", "the shelf file names none of that name"),
        ("/plan?length=200", "Describing the heating mat: it is not whole"),
    ] {
        let (status, page) = served.page(asked).await;
        assert!(status == 200 && page.contains(words) && page.contains("<form"), "{asked}: {page}");
        assert!(page.contains("Not reckoned") && !page.contains("<script>"), "{asked}: {page}");
    }
    let (status, page) = served.page("/plan?watts=1&watts=2").await;
    assert!(status == 400 && page.contains("asks for one thing twice"), "{page}");
}

/// What is said of the form calls its fields as they stand there: nobody who fills it in knows the command's words.
#[test]
fn a_complaint_about_the_form_names_its_field() {
    use crate::plan::wish::{Wish, Writer, read};
    use crate::views::plan::form::form;
    let nest = &made().file.shelf.nests[0];
    let mut asked = 0;
    for group in form(&Wish::default(), Some(nest)) {
        for field in group.fields {
            let query = format!("{}=x", field.name);
            let wish: Wish = axum::extract::Query::try_from_uri(&format!("/plan?{query}").parse().unwrap()).unwrap().0;
            let Err(said) = read(&wish, Some(nest), Writer::Form) else { panic!("{query} was understood") };
            assert!(said[0].contains(&format!("“{}: {}”", group.name, field.label)), "{said:?}");
            assert!(!said.join(" ").contains("--"), "{said:?}");
            let Err(typed) = read(&wish, Some(nest), Writer::Command) else { panic!("{query} was understood") };
            assert!(typed[0].contains(&format!("--{}", field.name.replace('_', "-"))), "{typed:?}");
            asked += 1;
        }
    }
    assert!(asked > 14, "{asked}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_of_a_plan_knows_no_flags() {
    let served = serve(made().snapshot.clone()).await;
    for asked in [
        "/plan?nest=oak&material_limit=x",
        "/plan?length=200&pad_from=0&pad_to=60&watts=5",
        "/plan?length=200&brood_from=1",
        "/plan?length=200",
        "/plan?length=200&pad_from=0&pad_to=60&watts=5&room=30&warm_room=25",
    ] {
        let (_, page) = served.page(asked).await;
        assert!(!page.contains("--"), "{asked}");
    }
}
