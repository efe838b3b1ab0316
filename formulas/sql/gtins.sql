-- Whether a text is 14 digits whose last one checks the others: weights 3 and 1, modulo 10 (GS1
-- General Specifications 7.9).
create function formulas_is_gtin(gtin text) returns boolean
immutable strict parallel safe language sql set search_path = pg_catalog as $$
  select case when gtin ~ '^[0-9]{14}$' then (
    select sum(substr(gtin, place, 1)::int * case place % 2 when 1 then 3 else 1 end) % 10 = 0
      from generate_series(1, 14) place) else false end
$$;
alter table formulas_product add constraint product_gtin_checks
  check (gtin = '' or formulas_is_gtin(gtin));
