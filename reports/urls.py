"""Addresses of this room."""

from django.urls import path

from reports import views

app_name = "reports"
urlpatterns = [
    path("reports/", views.report_list, name="list"),
    path("reports/<uuid:key>/", views.report, name="report"),
    path("reports/<uuid:key>/pdf/", views.pdf, name="pdf"),
    path("reports/<uuid:key>/release/", views.release, name="release"),
    path("reports/<uuid:key>/answer/<uuid:question>/", views.answer, name="answer"),
    path("visits/<uuid:key>/report/", views.of_visit, name="of_visit"),
    path("visits/<uuid:key>/report/progress/", views.progress, name="progress"),
    path("visits/<uuid:key>/report/again/", views.again, name="again"),
    path("papers/run/week/", views.run_week, name="run_week"),
    path("papers/run/<uuid:key>/", views.run_sheet, name="run_sheet"),
    path("papers/overdue/", views.paper, name="paper"),
]
