"""What a token is for, in words of whoever made it."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("api", "0002_opening")]

    operations = [
        migrations.AddField(
            model_name="token",
            name="note",
            field=models.CharField(
                blank=True, db_default="", help_text="What it is for.", max_length=80
            ),
        ),
    ]
