"""Argon2 at its lowest cost: the same code path, quick enough for thousands of signatures."""

from django.contrib.auth.hashers import Argon2PasswordHasher


class QuickArgon2(Argon2PasswordHasher):
    time_cost = 1
    memory_cost = 8
    parallelism = 1
