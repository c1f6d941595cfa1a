"""Addresses of the places Plant, People, Records and Set-up."""

from __future__ import annotations

from django.urls import path

from facility.records import crew_pages, places, plant, rules_page

app_name = "places"
urlpatterns = [
    path("<slug:site>/plant/", plant.plant, name="plant"),
    path("<slug:site>/people/", crew_pages.people, name="people"),
    path("<slug:site>/records/", places.records, name="records"),
    path("<slug:site>/records/events/", places.event_log, name="events"),
    path("<slug:site>/records/events/<int:seq>/", places.event, name="event"),
    path("<slug:site>/set-up/", places.setup, name="setup"),
    path("<slug:site>/set-up/house-rules/", rules_page.house_rules, name="house_rules"),
    path("<slug:site>/set-up/house-rules/<slug:key>/", rules_page.set_house_rule, name="set_house_rule"),
]
