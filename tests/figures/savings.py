"""What it saves: the paper and the time that simulated printers need from an unknown negative to a print that
contents them.

The same 200 negatives are printed by four printers, who differ in what they have:

1. strips in plain seconds;
2. strips in stops;
3. strips in stops, and a paper record;
4. a light cell and a paper record.

**The right print.** Its light tone has a density of 0.10 and its shadow 90 % of the greatest (the negatives,
and where these two lie on them, are those of `metering`). The filters are 00 to 5 in halves. A print's error
in base is that of the light on the light tone, through the filter that the printer ended with; its error in
grade is that filter's number less the one, on a line between the filters, at which both tones are right.

**The eye.** It takes a density for another one, off by 0.02, and by 0.04 above 1.6 (1 sigma, common practice,
no source). Each look errs anew; one look at a strip errs alike on all of its patches. A printer is content
with what is off by less than twice that: less may be the eye's own error, and whoever goes after it makes
prints for ever. So nobody here sees a twelfth of a stop with certainty.

**A strip** is a quarter of a sheet, with 7 patches. The printer takes the place, half places too, where the
light tone looks right. If that is the first or the last patch, and it still looks wrong, the next strip goes
on from there. If the patches on its sides are more than 1/3 stop away, a second strip is laid around it, in
steps of 1/6 stop, or of the largest whole seconds (5, 2 or 1) that are no more than that. The first strip is
through filter 2 (ilfordphoto.com, "Exposure testing", read): 5 to 35 s in steps of 5 s, or 1/2 stop around
15 s, which suits the usual negative here (5 s and 15 s: NAVEDTRA 14209, a navy's course, read). All patches
show the same tones.

**Contrast.** On what the printer looks at, he sees light tone and shadow, and knows his paper so well that he
knows which filter that calls for, as far as the eye goes: that favours who has no record. He changes filter
if the shadow, once the light tone is right, would look wrong, and another filter is nearer. Two habits are
played. *On strips*: each patch shows shadow and light tone, and contrast is judged there first ("place one
test strip … to sample the highlights, midtones, and shadows … if the contrast is correct [make the print]. If
not, change filters and make another test strip": the same course). *On prints*: the strip lies in the
light tone, and a whole print shows the shadow first. The sources that were read know both, or neither.

**A filter is changed** without a record by the maker's factor between the two, which holds a middle tone and
not a light one, and then by a strip around that, in steps of 1/3 stop or the largest seconds that are no
more. With a record it is changed by what the record has for the light tone, and no strip follows.

**A print** is a whole sheet. If its light tone looks wrong the base is moved by what the printer sees (to
1/12 stop, or on the scale of plain seconds), if its contrast does the filter is changed, and on it goes.

**The record** is made for each of 20 printers, 10 negatives each, by `lampblack lab paper`'s own functions of
one strip for each filter: the box's paper strip, 11 patches, read with an error of 0.01 each, base and black
at four places. A strip that the laboratory refuses is made again with other times.

**The light cell** is the real screen of the real core (`metering.Evening`): a calibration strip through filter
2 once for a printer, then light tone and shadow of each negative; the row *Filter* gives filter and base.
Beyond what `metering` has, lamp, colour of the lamp and batch of paper are off by 0.08 stop together, and
flare makes the light tone's reading alone wrong by 0.065 (1 sigma, estimates, no source). As the box asks for,
a strip of 1/6 stop around that comes before the print.

**Time.** To lay a sheet 30 s, to cover a patch 3 s, to change a filter 10 s, to fetch the cell and lay it
twice 20 s, to look 30 s (all assumed); light as given; the trays as far as the end of the fix, by the box's
own sequence `rc`.

Not in it: areas to dodge and burn, dry-down, a tone that is not even along a strip, light that is not as
planned, a printer who errs in anything but what is said, or learns from one negative for the next. Records
and calibrations are made once for a paper: what they cost is a row of its own.
"""
