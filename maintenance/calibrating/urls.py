"""Addresses of references, comparisons and recalls."""

from __future__ import annotations

from django.urls import path

from maintenance.calibrating import paper_views, recall_views, reference_views, views

urlpatterns = [
    path("<slug:site>/references/", reference_views.references, name="references"),
    path("<slug:site>/references/add/", reference_views.add_reference, name="add_reference"),
    path("<slug:site>/references/<int:pk>/", reference_views.reference, name="reference"),
    path("<slug:site>/references/<int:pk>/certificate/", reference_views.add_certificate, name="add_certificate"),
    path("<slug:site>/certificates/<int:pk>/", reference_views.certificate, name="certificate"),
    path("<slug:site>/certificates/<int:pk>/second-look/", reference_views.second_look, name="second_look_certificate"),
    path("<slug:site>/pair/", reference_views.compare_pair, name="compare_pair"),
    path("<slug:site>/instruments/<int:pk>/compare/", views.calibrate, name="calibrate"),
    path("<slug:site>/instruments/<int:pk>/laboratory/", views.laboratory, name="laboratory"),
    path("<slug:site>/instruments/<int:pk>/drift/", views.drift, name="drift"),
    path("<slug:site>/comparisons/<int:pk>/", views.calibration, name="calibration"),
    path("<slug:site>/comparisons/<int:pk>/correct/", views.correct, name="correct_calibration"),
    path("<slug:site>/comparisons/<int:pk>/pdf/", paper_views.calibration_pdf, name="calibration_pdf"),
    path("<slug:site>/recalls/start/", recall_views.start_recall, name="recall"),
    path("<slug:site>/recalls/<int:pk>/", recall_views.recall_page, name="recall_page"),
    path("<slug:site>/recalls/<int:pk>/answer/", recall_views.answer_recall, name="answer_recall"),
]
