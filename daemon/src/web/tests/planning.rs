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
        ("/plan?length=200", "describing the heating mat: it is not whole"),
    ] {
        let (status, page) = served.page(asked).await;
        assert!(status == 200 && page.contains(words) && page.contains("<form"), "{asked}: {page}");
        assert!(page.contains("Not reckoned") && !page.contains("<script>"), "{asked}: {page}");
    }
    let (status, page) = served.page("/plan?watts=1&watts=2").await;
    assert!(status == 400 && page.contains("asks for one thing twice"), "{page}");
}
