# Five chains that each give way in another manner. The whole words of each but its cautions.
for plan in cold-start-trap resets-in-turn back-feed collapse fold-back-lock-up; do
    echo "--- $plan"
    linewalk supply --plan $DATA/../../../captures/supply/$plan.json --draws 0 | sed -n '/^supply  tap/,/^supply:/p'
done
