module isohaline

go 1.26
