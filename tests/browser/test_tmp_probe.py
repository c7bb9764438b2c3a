import time
from registry.sites.clock import today_at
from servicing.due.queries.engine import owed
from tests.people import make_item
from datetime import date
def test_probe(live_server, mask, valley, technician):
    from playwright.sync_api import sync_playwright
    t=today_at(valley)
    for kind in ("mask","cylinder","set","reducer","instrument","compressor","demand-valve"):
        i=make_item(mask.site, "T-"+kind, kind, made_on=date(2021,1,1))
        print(kind,[(o.task,str(o.due_on),str(o.state(t))) for o in owed(i,t)])
    with sync_playwright() as p:
        b=p.chromium.launch(executable_path="/usr/bin/chromium")
        c=b.new_context(base_url=live_server.url)
        page=c.new_page()
        page.on("response", lambda r: print(r.status,r.url))
        page.on("console", lambda m: print("console",m.type,m.text))
        page.goto("/")
        print(page.title(), page.evaluate("getComputedStyle(document.body).backgroundColor"))
        page.get_by_label("Name").fill("tekla") if page.get_by_label("Name").count() else print(page.content())
        page.get_by_label("User").count()
        c.close(); b.close()
