"""The daily look: what became due soon, overdue or lapsed, and which plans will not be ready."""
