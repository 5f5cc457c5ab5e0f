"""Addresses of this room."""

from django.urls import path

from servicedesk.rounds.views import load, master, mending, moving, proposal, roads, round, week

app_name = "rounds"
urlpatterns = [
    path("round/", round.today, name="today"),
    path("round/calendar/<uuid:key>/<slug:tag>.ics", round.calendar, name="calendar"),
    path("load/", load.load, name="load"),
    path("look-up/", round.look_up, name="look_up"),
    path("week/", week.week, name="week"),
    path("week/roads/", roads.roads, name="roads"),
    path("week/plan/", proposal.ask, name="plan_week"),
    path("week/plan/<uuid:key>/", proposal.proposal, name="proposal"),
    path("week/plan/<uuid:key>/search/", proposal.searching, name="searching"),
    path("week/plan/<uuid:key>/stop/", proposal.stop, name="proposal_stop"),
    path("week/plan/<uuid:key>/drop/", proposal.drop, name="proposal_drop"),
    path("week/plan/<uuid:key>/move/", moving.move, name="proposal_move"),
    path("week/plan/<uuid:key>/hold/", moving.hold, name="proposal_hold"),
    path("week/plan/<uuid:key>/in-force/", proposal.put_in_force, name="proposal_in_force"),
    path("week/master/", master.masters, name="masters"),
    path("week/master/<uuid:key>/", master.master_round, name="master_round"),
    path("week/master/<uuid:key>/search/", master.searching, name="master_searching"),
    path("week/master/<uuid:key>/stop/", master.stop, name="master_stop"),
    path("week/master/<uuid:key>/drop/", master.drop, name="master_drop"),
    path("week/master/<uuid:key>/decide/", master.decide, name="master_decide"),
    path("week/today/", mending.today, name="mend_today"),
    path("week/today/<uuid:key>/", mending.trouble, name="trouble"),
    path("week/today/<uuid:key>/search/", mending.searching, name="trouble_search"),
    path("week/today/<uuid:key>/again/", mending.again, name="trouble_again"),
    path("week/today/<uuid:key>/drop/", mending.drop, name="trouble_drop"),
    path("week/today/<uuid:key>/choose/<slug:way>/", mending.choose, name="trouble_choose"),
    path("week/told/<uuid:key>/", mending.rung, name="rung"),
    path("week/visits/<uuid:visit>/", week.place, name="place"),
    path("round/changes/<uuid:key>/accept/", week.accept, name="accept"),
    path("stops/<uuid:visit>/key/", round.key, name="key"),
]
