"""Let PostgreSQL find the beginning of a name through the index, whatever the collation.

SQLite knows no operator classes: it drops the index and makes the same one again.
"""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("cases", "0002_initial"),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name="case",
            name="case_name",
        ),
        migrations.AddIndex(
            model_name="case",
            index=models.Index(
                fields=["facility", "name_folded"],
                name="case_name",
                opclasses=["int8_ops", "varchar_pattern_ops"],
            ),
        ),
    ]
