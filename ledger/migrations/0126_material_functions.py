"""What a material does is one of the functions that are known."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0125_sealed_by_key"),
    ]

    operations = [
        migrations.AddConstraint(
            model_name="material",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "function__in",
                        [
                            "",
                            "acid",
                            "base",
                            "botanical",
                            "chelant",
                            "emollient",
                            "emulsifier",
                            "fragrance",
                            "humectant",
                            "other",
                            "preservative",
                            "solvent",
                            "surfactant",
                            "thickener",
                        ],
                    )
                ),
                name="material_function_known",
            ),
        ),
    ]
